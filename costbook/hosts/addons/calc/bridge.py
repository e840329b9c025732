"""A Calc without a window, read and written from outside: one JSON line in, one out, on standard input and output.

Run by a Python that knows the office, with the pipe's name as its argument. What it does with a document is what the
extension does inside the office.
"""

from __future__ import annotations

import json
import sys
import time
from typing import Any

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.connection import NoConnectException
from com.sun.star.lang import DisposedException
from com.sun.star.uno import Exception as OfficeError

from costbook.hosts.addons.calc import drawing
from costbook.hosts.addons.calc.cells import Refused, snapshot

START_SECONDS = 60.0
FILTERS = {".ods": "calc8", ".xlsx": "Calc MS Excel 2007 XML"}
GONE = Refused("HostUnavailable", "the office program has ended.", do="Run it again; the workbook is as it was last saved.")


def main(kind: type[Session] | None = None) -> None:
    """Answers questions until there is no more input."""
    session = (kind or Session)(connected(sys.argv[-1]))
    write = sys.stdout.write
    for line in sys.stdin:
        write(json.dumps(session.answer(json.loads(line))) + "\n")
        sys.stdout.flush()


def connected(pipe: str) -> Any:
    """The service manager of the office that listens on this pipe."""
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    end = time.monotonic() + START_SECONDS
    while True:
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext").ServiceManager
        except NoConnectException:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


class Session:
    """One document, asked again and again."""

    def __init__(self, services: Any) -> None:
        self.services = services
        self._desktop = services.createInstance("com.sun.star.frame.Desktop")
        self._document: Any = None

    def answer(self, question: dict[str, Any]) -> dict[str, Any]:
        """What comes of one question: what it asked for, or why it was refused."""
        try:
            found = getattr(self, "_" + question["ask"])(question)
            return found if isinstance(found, dict) else {"done": bool(found)}
        except Refused as refused:
            return {"refused": refused.said}
        except DisposedException:
            return {"refused": GONE.said}
        except OfficeError as error:
            words = " ".join(str(error).split())[:200]
            return {"refused": Refused("WriteRefused", f"the office program refused it ({words}).").said}

    def _open(self, question: dict[str, Any]) -> None:
        self._document = self._desktop.loadComponentFromURL(question["url"], "_blank", 0, ())
        if self._document is None or not self._document.supportsService("com.sun.star.sheet.SpreadsheetDocument"):
            raise Refused("HostUnavailable", "the office program cannot read it as a workbook.")

    def _snapshot(self, question: dict[str, Any]) -> dict[str, Any]:
        return snapshot(self.document())

    def _apply(self, question: dict[str, Any]) -> bool:
        document, edits = self.document(), question["edits"]
        new = drawing.apply(document, edits, question.get("title", "costbook"), self.services)
        view = document.CurrentController
        for tab in edits["tabs"]:
            if tab["name"] in new:
                view.setActiveSheet(document.Sheets.getByName(tab["name"]))
                drawing.show(view, tab, self.services)
        view.setActiveSheet(document.Sheets.getByIndex(0))
        return True

    def _store(self, question: dict[str, Any]) -> None:
        name = FILTERS["." + question["url"].rpartition(".")[2]]
        self.document().storeToURL(question["url"], (_property("FilterName", name),))

    def _shut(self, question: dict[str, Any]) -> None:
        if self._document is not None:
            self._document.close(True)
        self._document = None

    def document(self) -> Any:
        """The document that was opened."""
        if self._document is None:
            raise Refused("HostUnavailable", "the workbook was closed meanwhile; nothing was written.", do="Open it and run it again.")
        return self._document


def _property(name: str, value: Any) -> Any:
    made = PropertyValue()
    made.Name, made.Value = name, value
    return made


if __name__ == "__main__":
    main()
