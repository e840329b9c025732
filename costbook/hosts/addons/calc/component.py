"""The buttons: what happens in the office when one is pressed.

The engine is asked from a thread of its own, so that the office goes on; whatever touches the document is done on the
office's main thread. Results are shown in a bar over the sheet, which waits for nobody.
"""

from __future__ import annotations

import json
import os
import queue
import threading
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import uno
import unohelper
from com.sun.star.awt import XCallback
from com.sun.star.beans import StringPair
from com.sun.star.frame import FeatureStateEvent, XDispatch, XDispatchProvider
from com.sun.star.lang import DisposedException, XInitialization, XServiceInfo
from com.sun.star.sheet import XActivationEventListener
from com.sun.star.uno import Exception as OfficeError

from costbook.hosts.addons.calc import drawing
from costbook.hosts.addons.calc.cells import Refused, snapshot
from costbook.hosts.addons.calc.child import Engine

NAME = "org.costbook.calc.Buttons"
BAR = "costbook"
TITLES = {"price": "Price", "changed": "What changed", "next": "Make next", "post": "Post papers"}
HANG_SECONDS = 300.0
PAUSE_SECONDS = 0.2
INFO, SUCCESS, WARNING, DANGER = 0, 1, 2, 3
LEVELS = {"done": SUCCESS, "same": INFO, "look": WARNING, "failed": DANGER}
FINDINGS = "Findings"
CLOSED = Refused("HostUnavailable", "the workbook was closed while the tool worked; nothing was written.")
LOG = "costbook-log.txt"
LOG_BYTES = 50_000


class Desk:
    """What all windows of one office share: the engine, and the one run there can be at a time."""

    engine: Engine | None = None
    run: Run | None = None

    @classmethod
    def running_engine(cls) -> Engine:
        """The engine, started anew where there is none any more."""
        if cls.engine is None or not cls.engine.runs:
            with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "engine.json"), encoding="utf-8") as told:
                cls.engine = Engine(json.load(told)["command"])
        return cls.engine


class _Later(unohelper.Base, XCallback):  # type: ignore[misc]
    def __init__(self, work: Callable[[], None]) -> None:
        self._work = work

    def notify(self, _: Any) -> None:
        self._work()


class _Waiting(unohelper.Base, XActivationEventListener):  # type: ignore[misc]
    """New tabs whose headings are frozen when she first goes there: going there for her would take her away from what she types."""

    def __init__(self, context: Any, view: Any, tabs: list[dict[str, Any]]) -> None:
        self._context, self._view = context, view
        self._tabs = {tab["name"]: tab for tab in tabs}

    @classmethod
    def for_their_turn(cls, context: Any, view: Any, tabs: list[dict[str, Any]]) -> None:
        """Waits for her to go to these tabs."""
        if tabs:
            view.addActivationEventListener(cls(context, view, tabs))

    def activeSpreadsheetChanged(self, event: Any) -> None:  # noqa: N802 (a name of the office)
        """She goes to a tab; it is made ready once the office has gone there."""
        tab = self._tabs.pop(event.ActiveSheet.Name, None)
        if tab is not None:
            services = self._context.ServiceManager
            later = services.createInstanceWithContext("com.sun.star.awt.AsyncCallback", self._context)
            later.addCallback(_Later(partial(self._show, tab, services)), None)

    def _show(self, tab: dict[str, Any], services: Any) -> None:
        if self._view.ActiveSheet.Name == tab["name"]:
            drawing.show(self._view, tab, services)
        else:
            self._tabs[tab["name"]] = tab

    def disposing(self, event: Any) -> None:
        """The window is closed."""
        self._tabs.clear()


class Run:
    """One press of a button, from the question to the sentence that is shown."""

    def __init__(self, context: Any, frame: Any, action: str, more: dict[str, Any]) -> None:
        self._context, self._frame, self._action, self._more = context, frame, action, more
        self._document = frame.Controller.Model
        self._progress = frame.createStatusIndicator()
        self.is_cancelled = False

    def start(self) -> None:
        """Begins; the office goes on meanwhile."""
        Desk.run = self
        self._progress.start(f"costbook: {TITLES[self._action]} ...", 100)
        threading.Thread(target=self._work, daemon=True).start()

    def cancel(self) -> None:
        """Ends the engine, and with it the run; what is being written at that moment is finished or not begun."""
        self.is_cancelled = True
        if Desk.engine:
            Desk.engine.end()

    # ---------------------------------------------------------------- on its own thread

    def _work(self) -> None:
        told = {"level": "failed", "sentence": "the tool broke off; the workbook is as it was."}
        try:
            told = self._talk()
        except OSError as error:
            told["sentence"] = f"the tool cannot be started ({error.strerror}). Run: costbook install"
        finally:
            Desk.run = None
            self._on_main(lambda: self._show(told))

    def _talk(self) -> dict[str, Any]:
        engine = Desk.running_engine()
        engine.send({"do": self._action, "path": _path(self._document), **self._more})
        while True:
            message = engine.heard(HANG_SECONDS)
            if message is None:
                Desk.engine = None
                return {"level": "failed", "sentence": self._end_of(engine)}
            if "say" in message:
                self._on_main(partial(self._progress.setText, f"costbook: {message['say']} ..."))
            elif "ask" in message:
                engine.send(self._answered(message))
            elif "told" in message:
                return dict(message["told"])

    def _end_of(self, engine: Engine) -> str:
        if self.is_cancelled:
            return "Cancelled; the workbook is as it was."
        if engine.is_silent:
            return f"The tool said nothing for {HANG_SECONDS / 60:g} minutes and was stopped; the workbook is as it was. Press the button again."
        return "The tool broke off before it was done; the workbook is as it was. Press the button again."

    def _answered(self, question: dict[str, Any]) -> dict[str, Any]:
        """The answer to a question about the document, made on the main thread and waited for."""
        answers: queue.Queue[dict[str, Any]] = queue.Queue()
        self._on_main(lambda: answers.put(self._answer(question)))
        return answers.get()

    # ---------------------------------------------------------------- on the main thread

    def _on_main(self, work: Callable[[], None]) -> None:
        services = self._context.ServiceManager
        services.createInstanceWithContext("com.sun.star.awt.AsyncCallback", self._context).addCallback(_Later(work), None)

    def _answer(self, question: dict[str, Any]) -> dict[str, Any]:
        try:
            if self.is_cancelled:
                return {"refused": Refused("HostUnavailable", "cancelled.").said}
            if question["ask"] == "snapshot":
                return snapshot(self._document)
            edits, services = question["edits"], self._context.ServiceManager
            new = drawing.apply(self._document, edits, f"costbook: {TITLES[self._action]}", services)
            _Waiting.for_their_turn(self._context, self._frame.Controller, [t for t in edits["tabs"] if t["name"] in new])
            return {"done": True}
        except Refused as refused:
            return {"refused": refused.said}
        except (DisposedException, AttributeError):  # a closed document has no parts any more
            return {"refused": CLOSED.said}
        except OfficeError as error:
            words = " ".join(str(error).split())[:200]
            return {"refused": Refused("WriteRefused", f"the office program refused it ({words}).").said}

    def _show(self, told: dict[str, Any]) -> None:
        level, sentence = LEVELS.get(str(told.get("level")), INFO), str(told.get("sentence"))
        _log(self._context, sentence)
        try:
            self._progress.end()
            say(self._frame, sentence, level, bool(told.get("findings")))
        except (DisposedException, AttributeError):
            say_in_a_box(self._context, sentence)


def say(frame: Any, sentence: str, level: int = INFO, findings: bool = False) -> None:
    """Shows a sentence in a bar over the sheet, with a button to the findings where there are some."""
    controller = frame.Controller
    if controller.hasInfobar(BAR):
        controller.removeInfobar(BAR)
    buttons = (StringPair(FINDINGS, "costbook:findings"),) if findings else ()
    controller.appendInfobar(BAR, "costbook", sentence[:1].upper() + sentence[1:], level, buttons, True)


def say_in_a_box(context: Any, sentence: str) -> None:
    """Shows a sentence where its workbook is gone: in a box over whatever window is left."""
    services = context.ServiceManager
    frame = services.createInstanceWithContext("com.sun.star.frame.Desktop", context).getCurrentFrame()
    if frame is None:
        return
    toolkit = services.createInstanceWithContext("com.sun.star.awt.Toolkit", context)
    kind = uno.Enum("com.sun.star.awt.MessageBoxType", "WARNINGBOX")
    toolkit.createMessageBox(frame.ContainerWindow, kind, 1, "costbook", sentence).execute()


def _log(context: Any, sentence: str) -> None:
    """Keeps the sentence in the office's own folder, where `costbook doctor` finds it."""
    paths = context.getValueByName("/singletons/com.sun.star.util.thePathSettings")
    place = os.path.join(uno.fileUrlToSystemPath(paths.UserConfig_writable), LOG)
    try:
        mode = "a" if os.path.exists(place) and os.path.getsize(place) < LOG_BYTES else "w"
        with open(place, mode, encoding="utf-8") as log:
            log.write(f"{time.strftime('%Y-%m-%d %H:%M:%S')} {sentence}\n")
    except OSError:
        return


def _path(document: Any) -> str:
    url = document.getURL()
    return str(uno.fileUrlToSystemPath(url)) if url.startswith("file:") else str(document.Title)


class Buttons(unohelper.Base, XServiceInfo, XInitialization, XDispatchProvider, XDispatch):  # type: ignore[misc]
    """The office's way in: gets every address that begins with costbook: from menu, toolbar and bar."""

    def __init__(self, context: Any) -> None:
        self._context = context
        self._frame: Any = None

    def initialize(self, arguments: Any) -> None:
        """Remembers the window the button is in."""
        if arguments:
            self._frame = arguments[0]

    def queryDispatch(self, url: Any, target: str, flags: int) -> Any:  # noqa: N802 (a name of the office)
        """This object, for an address of ours."""
        return self if url.Protocol == "costbook:" else None

    def queryDispatches(self, requests: Any) -> Any:  # noqa: N802
        """The same for several addresses."""
        return tuple(self.queryDispatch(r.FeatureURL, r.FrameName, r.SearchFlags) for r in requests)

    def dispatch(self, url: Any, arguments: Any) -> None:
        """Does what the button is for."""
        action = url.Path
        if action in TITLES:
            self._begin(action)
        elif action == "findings":
            self._go_to_findings()
        elif action == "takeback":
            self._take_back()
        elif action == "cancel":
            self._cancel()

    def _begin(self, action: str) -> None:
        if Desk.run is not None:
            say(self._frame, "The tool still works on the last press; wait, or press Cancel.")
            return
        self._finish_typing()
        more: dict[str, Any] = {}
        if action == "post":
            more["papers"] = self._chosen_papers()
        Run(self._context, self._frame, action, more).start()

    def _finish_typing(self) -> None:
        """Enters what stands half typed in a cell, as the Tab key would, and goes back to where she was."""
        controller, services = self._frame.Controller, self._context.ServiceManager
        selected = controller.Selection
        helper = services.createInstanceWithContext("com.sun.star.frame.DispatchHelper", self._context)
        helper.executeDispatch(self._frame, ".uno:JumpToNextCell", "", 0, ())
        controller.select(selected)

    def _chosen_papers(self) -> list[str]:
        services = self._context.ServiceManager
        picker = services.createInstanceWithContext("com.sun.star.ui.dialogs.FilePicker", self._context)
        picker.setMultiSelectionMode(True)
        folder = self._frame.Controller.Model.getURL().rpartition("/")[0]
        if folder:
            picker.setDisplayDirectory(folder)
        picker.setTitle("Papers to post; Cancel posts only what you confirmed on Invoice review")
        return [uno.fileUrlToSystemPath(url) for url in picker.getSelectedFiles()] if picker.execute() else []

    def _go_to_findings(self) -> None:
        controller = self._frame.Controller
        sheets = controller.Model.Sheets
        if sheets.hasByName(FINDINGS):
            controller.setActiveSheet(sheets.getByName(FINDINGS))
        else:
            say(self._frame, "There is no Findings tab yet; press Price first.")

    def _take_back(self) -> None:
        """Undoes the last step if it was one of ours."""
        undo = self._frame.Controller.Model.UndoManager
        titles = undo.getAllUndoActionTitles()
        if titles and titles[0].startswith("costbook: "):
            undo.undo()
            say(self._frame, "Taken back; Redo brings it again.", SUCCESS)
        elif any(title.startswith("costbook: ") for title in titles):
            say(self._frame, "You have worked on since; Undo (Ctrl+Z) takes back one step after the other.", WARNING)
        else:
            say(self._frame, "There is nothing of the tool's to take back since the workbook was opened.", INFO)

    def _cancel(self) -> None:
        if Desk.run is None:
            say(self._frame, "There is nothing to cancel.")
        else:
            Desk.run.cancel()

    def addStatusListener(self, listener: Any, url: Any) -> None:  # noqa: N802
        """Tells a button that it may be pressed."""
        listener.statusChanged(FeatureStateEvent(self, url, "", True, False, None))

    def removeStatusListener(self, listener: Any, url: Any) -> None:  # noqa: N802
        """Buttons are told once only."""

    def getImplementationName(self) -> str:  # noqa: N802
        """The name it is registered by."""
        return NAME

    def supportsService(self, name: str) -> bool:  # noqa: N802
        """Whether it is what is asked for."""
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self) -> tuple[str, ...]:  # noqa: N802
        """What it is to the office."""
        return ("com.sun.star.frame.ProtocolHandler",)


g_ImplementationHelper = unohelper.ImplementationHelper()  # noqa: N816 (the name the office looks for)
g_ImplementationHelper.addImplementation(Buttons, NAME, ("com.sun.star.frame.ProtocolHandler",))
