"""An office program without a window, with a profile of its own, started for one run and ended after it.

An OpenDocument workbook (.ods) is read and written this way: the office program changes a copy, whose bytes then replace
the file like those of any other workbook, whole and with the earlier state kept.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import shutil
import signal
import subprocess
import tempfile
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from costbook.book.grid import Edits, Snapshot
from costbook.errors import HostUnavailable, WorkbookChanged
from costbook.hosts import disk
from costbook.hosts.calc import CalcDocument, Plain

PROGRAMS = ("soffice", "libreoffice")
# Where it is put on systems that have no list of programs; from memory, not tried.
PLACES = ("/Applications/LibreOffice.app/Contents/MacOS/soffice", "C:/Program Files/LibreOffice/program/soffice.exe")
SECONDS = 180
ROOT = Path(__file__).resolve().parents[2]
NOT_HERS = ("PYTHON", "LD_LIBRARY_PATH", "URE_BOOTSTRAP", "VIRTUAL_ENV")
INSTALL = "Install LibreOffice with its Python (on Debian and Ubuntu: libreoffice-calc and python3-uno)."


def program() -> str:
    """The office program that is installed.

    Raises:
        HostUnavailable: there is none.
    """
    found = next((path for name in (*PROGRAMS, *PLACES) if (path := shutil.which(name))), None)
    if found is None:
        raise HostUnavailable("no office program was found.", do=INSTALL)
    return found


def office_python(office: str) -> str:
    """A Python that can talk to the office program: the office's own, or the system's.

    Raises:
        HostUnavailable: none of those there can.
    """
    beside = Path(office).resolve().parent
    places = (beside / "python", beside / "python.exe", beside.parent / "Resources" / "python", Path("/usr/bin/python3"))
    for candidate in places:
        if candidate.is_file() and _knows_the_office(candidate):
            return str(candidate)
    raise HostUnavailable("no Python was found that can talk to the office program.", do=INSTALL)


def _knows_the_office(candidate: Path) -> bool:
    try:
        tried = subprocess.run([candidate, "-c", "import uno"], capture_output=True, env=clean_environment(), timeout=30, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return tried.returncode == 0


def clean_environment(environment: Mapping[str, str] = os.environ) -> dict[str, str]:
    """The environment without what would make one Python load another's libraries."""
    return {name: value for name, value in environment.items() if not name.startswith(NOT_HERS)}


BRIDGE = ("-c", f"import sys; sys.path.append({str(ROOT)!r}); from costbook.hosts.addons.calc.bridge import main; main()")


class Office:
    """An office process and the bridge to it; `ask` sends one question and returns its answer.

    Args:
        seconds: how long one answer may take.
        bridge: what the office's Python runs as the bridge; it gets the pipe's name.
        profile: the office's user folder, one of its own where none is named; options: what else the office is told.
    """

    def __init__(
        self,
        seconds: float = SECONDS,
        bridge: Sequence[str] = BRIDGE,
        profile: Path | None = None,
        options: Sequence[str] = ("--headless", "--nodefault"),
    ) -> None:
        self._seconds = seconds
        self._lines: queue.Queue[bytes] = queue.Queue()
        office = program()
        python = office_python(office)
        self._folder = tempfile.TemporaryDirectory(prefix="costbook-office-", ignore_cleanup_errors=True)
        pipe = f"costbook-{os.getpid()}-{os.urandom(6).hex()}"
        self.profile = profile or Path(self._folder.name) / "profile"
        quiet: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        command = [office, f"-env:UserInstallation={self.profile.as_uri()}", "--norestore", "--nologo", "--nofirststartwizard",
                   f"--accept=pipe,name={pipe};urp;", *options]  # fmt: skip
        self.office = subprocess.Popen(command, env=clean_environment(), start_new_session=True, **quiet)
        self.bridge = subprocess.Popen([python, *bridge, pipe], env=clean_environment(), stdin=subprocess.PIPE,
                                       stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)  # fmt: skip
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def ask(self, question: Plain) -> Plain:
        """The answer to one question.

        Raises:
            HostUnavailable: the office program ended or did not answer in time.
        """
        sent = self.bridge.stdin
        assert sent is not None
        try:
            sent.write(json.dumps(question).encode() + b"\n")
            sent.flush()
        except OSError as error:
            raise _ended() from error
        try:
            line = self._lines.get(timeout=self._seconds)
        except queue.Empty:
            raise HostUnavailable(f"the office program did not answer within {self._seconds:g} seconds.", do="Run it again.") from None
        if not line:
            raise _ended()
        answer: Plain = json.loads(line)
        return answer

    def _listen(self) -> None:
        assert self.bridge.stdout is not None
        for line in self.bridge.stdout:
            self._lines.put(line)
        self._lines.put(b"")

    def end(self) -> None:
        """Ends both processes and removes the profile."""
        self.bridge.kill()
        self._stop(hard=False)
        try:
            self.office.wait(10)
        except subprocess.TimeoutExpired:
            self._stop(hard=True)
            self.office.wait()
        self.bridge.wait()
        self._listener.join(5)
        for pipe in (self.bridge.stdin, self.bridge.stdout):
            with contextlib.suppress(OSError):
                if pipe:
                    pipe.close()
        self._folder.cleanup()

    def _stop(self, hard: bool) -> None:
        """Ends the office and what it started, where the system knows such groups."""
        if hasattr(os, "killpg"):
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.office.pid, signal.SIGKILL if hard else signal.SIGTERM)
        else:
            self.office.kill()


def _ended() -> HostUnavailable:
    return HostUnavailable("the office program ended before it was done; the workbook is as it was.", do="Run it again.")


class OfficeFile:
    """Her OpenDocument workbook on disk, read and written through an office program without a window."""

    def __init__(self, path: Path, seconds: float = SECONDS) -> None:
        self.path, self.name = Path(path), Path(path).name
        self._seconds = seconds
        self._office: Office | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._document: CalcDocument | None = None
        self.sha256 = ""

    def snapshot(self) -> Snapshot:
        """The whole workbook as it stands on disk now. The file's sha256 is noted for `apply`.

        Raises:
            HostUnavailable: no such file, no office program, or it cannot read the file.
        """
        data = disk.contents(self.path)
        self.sha256 = disk.digest(data)
        if self._office is None or self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="costbook-")
            self._office = Office(self._seconds)
        self._office.ask({"ask": "shut"})
        copy = Path(self._folder.name) / f"book{self.path.suffix}"
        copy.write_bytes(data)
        self._document = CalcDocument(self._office.ask, self.path)
        refused = self._office.ask({"ask": "open", "url": copy.as_uri()}).get("refused")
        if refused:
            raise HostUnavailable(f"{self.name} cannot be read: {refused['sentence']}", do="Open it in your office program.")
        return self._document.snapshot()

    def apply(self, edits: Edits) -> bool:
        """Whether the file was saved: False, and the file untouched, where it shows all of it already.

        Raises:
            WorkbookChanged: the file, or a cell to be set, is not what the snapshot saw.
            WorkbookBusy: a spreadsheet program has it open.
            WriteRefused: a cell or the file may not be written.
        """
        if self._document is None:
            self.snapshot()
        assert self._document is not None and self._office is not None and self._folder is not None
        if disk.digest(disk.contents(self.path)) != self.sha256:
            raise WorkbookChanged(f"{self.name} was changed by another program since it was read.", do="Run it again.")
        disk.refuse_if_open(self.path)
        if not self._document.apply(edits):
            return False
        made = Path(self._folder.name) / f"made{self.path.suffix}"
        refused = self._office.ask({"ask": "store", "url": made.as_uri()}).get("refused")
        if refused or not made.is_file():
            raise HostUnavailable(f"{self.name} was not touched: the office program did not save it.", do="Run it again.")
        data = made.read_bytes()
        disk.replace_file(self.path, data, self.sha256)
        self.sha256 = disk.digest(data)
        return True

    def close(self) -> None:
        """The office program is ended and what it worked on removed."""
        if self._office:
            self._office.end()
        if self._folder:
            self._folder.cleanup()
        self._office = self._folder = self._document = None
