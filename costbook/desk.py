"""Her office program: putting the buttons in, taking them out, and looking whether everything they need is in order."""

from __future__ import annotations

import json
import os
import platform
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from costbook.errors import HostError
from costbook.hosts import extension, headless, locks

VERSION = metadata.version("costbook")
OLDEST = (7, 0)
SECONDS = 60
LOG = "costbook-log.txt"  # written by the buttons, one sentence a line
PUT_IN = "Close the office program and run: costbook install"
# Where the office keeps what is hers, by system; the last two from memory.
PROFILES = {
    "Linux": ("~/.config/libreoffice/4",),
    "Darwin": ("~/Library/Application Support/LibreOffice/4",),
    "Windows": ("~/AppData/Roaming/LibreOffice/4",),
}
CAGES = {"snap": "/snap/", "Flatpak": "/flatpak/"}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that was looked at: whether it is as it should be, what was found, and what to do where it is not."""

    fine: bool
    what: str
    do: str = ""


def install(profile: Path | None = None) -> None:
    """Puts the buttons into her office program.

    Args: profile is the office's user folder; hers where none is named.
    Raises:
        HostUnavailable: there is no office program, or it does not take them.
    """
    extension.install(VERSION, profile)


def remove(profile: Path | None = None) -> None:
    """Takes the buttons out of her office program.

    Raises:
        HostUnavailable: there is no office program, or they are not in it.
    """
    extension.remove(profile)


def doctor(book: Path | None = None, profile: Path | None = None) -> list[Line]:
    """What was found of everything the buttons need, and of the lock files beside a workbook, with the fix of what fails."""
    looks: list[Callable[[], Iterator[Line]]] = [
        _python, _office, _bridge, lambda: _extension(profile), _engine, lambda: _last_words(profile),
    ]  # fmt: skip
    if book:
        looks.append(lambda: _locks(book))
    return [line for look in looks for line in _looked(look)]


def _looked(look: Callable[[], Iterator[Line]]) -> list[Line]:
    found: list[Line] = []
    try:
        found += look()
    except HostError as error:
        found.append(Line(False, error.sentence.rstrip("."), error.do))
    return found


def _python() -> Iterator[Line]:
    yield Line(True, f"costbook {VERSION}, Python {platform.python_version()} ({sys.executable})")


def _office() -> Iterator[Line]:
    office = headless.program()
    done = subprocess.run([office, "--version"], capture_output=True, text=True, timeout=SECONDS, stdin=subprocess.DEVNULL,
                          env=headless.clean_environment(), check=False)  # fmt: skip
    told = done.stdout.strip()
    found = re.search(r"(\d+)\.(\d+)", told)
    new_enough = found is not None and (int(found[1]), int(found[2])) >= OLDEST
    yield Line(new_enough, f"office program: {told or 'it does not tell its version'} ({office})", "Install LibreOffice 7.0 or newer.")
    real = os.path.realpath(office)
    for cage, mark in CAGES.items():
        if mark in real or mark in office:
            yield Line(False, f"the office program is a {cage} package, which may not start other programs",
                       "Install LibreOffice from libreoffice.org or your system's packages.")  # fmt: skip


def _bridge() -> Iterator[Line]:
    yield Line(True, f"workbooks in .ods: through {headless.office_python(headless.program())}")


def _extension(profile: Path | None) -> Iterator[Line]:
    """The office is asked, which answers only while it is closed; open, what lies in its folder is looked at."""
    commands = [json.loads(place.read_text(encoding="utf-8"))["command"] for place in _installed(profile, "engine.json")]
    try:
        there = extension.is_installed(profile)
    except HostError:
        if not commands:
            raise
        there = True
    if not there or not commands:
        yield Line(there, f"the buttons are {'' if there else 'not '}in the office program", PUT_IN)
        return
    for command in commands:
        fine = command == extension.engine_command()
        yield Line(fine, f"the buttons are in the office program and start {command[0]}", PUT_IN)


def _engine() -> Iterator[Line]:
    """Starts it the way a button does, and sees it end when there is nothing more to do."""
    try:
        done = subprocess.run(extension.engine_command(), input=b"", capture_output=True, timeout=SECONDS,
                              env=headless.clean_environment(), check=False)  # fmt: skip
        fine, words = done.returncode == 0, " ".join(done.stderr.decode(errors="replace").split())[-200:]
    except (OSError, subprocess.TimeoutExpired) as error:
        fine, words = False, str(error)
    yield Line(fine, "the engine starts" if fine else f"the engine does not start: {words}", "Install costbook again, then: costbook install")


def _last_words(profile: Path | None) -> Iterator[Line]:
    for folder in _profiles(profile):
        for log in folder.glob(f"user/**/{LOG}"):
            yield Line(True, f"the last press said: {log.read_text(encoding='utf-8').splitlines()[-1]}")


def _locks(book: Path) -> Iterator[Line]:
    locks.refuse_if_open(book)
    yield Line(book.is_file(), f"{book.name}: no program has it open" if book.is_file() else f"there is no file {book}", "Look at its name.")


def _profiles(profile: Path | None) -> list[Path]:
    return [profile] if profile else [Path(p).expanduser() for p in PROFILES.get(platform.system(), ())]


def _installed(profile: Path | None, name: str) -> Iterator[Path]:
    for folder in _profiles(profile):
        yield from (folder / "user" / "uno_packages" / "cache" / "uno_packages").glob(f"*/{extension.FILE_NAME}/**/{name}")
