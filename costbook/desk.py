"""Her office program: putting the buttons in, taking them out, and looking whether everything they need is in order."""

from __future__ import annotations

import json
import os
import platform
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from costbook import serving
from costbook.amounts.numbers import counted
from costbook.book.grid import Edits
from costbook.errors import CostbookError, HostError, HostUnavailable, WriteRefused
from costbook.hosts import extension, headless, locks

if TYPE_CHECKING:
    from costbook.hosts import contract

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
        _python, _office, _bridge, lambda: _extension(profile), _engine, lambda: _last_words(profile), _excel,
    ]  # fmt: skip
    if book:
        looks.append(lambda: _locks(book))
    return [line for look in looks for line in _looked(look)]


def press_in_excel(do: str, papers: Sequence[Path] = (), book: str | None = None, tell: Callable[[str], None] = serving.quiet) -> tuple[str, bool]:
    """What a button does, on the workbook open in Excel; returns one sentence, and whether something waits for her.

    Args:
        do: price, changed, next, post, findings or takeback; papers: of post.
        book: the name or path of the open workbook; the one in front where none is named.
    Raises:
        CostbookError: Excel or the workbook is not there, or it cannot be read or written.
    """
    from costbook.hosts.excel import open_workbook

    host = open_workbook(book)
    if do == "findings":
        there = host.go_to("Findings")
        return ("Findings is shown." if there else "There is no Findings tab yet; run price first."), not there
    if do == "takeback":
        count, left = host.take_back()
        sentence = f"{counted(count, 'cell is again as it was', 'cells are again as they were')} before the tool wrote last."
        if left:
            named = ", ".join(str(where) for where in left[:8]) + (f" and {len(left) - 8} more" if len(left) > 8 else "")
            sentence += f" Left as they are, since something else stands there now: {named}."
        return sentence, bool(left)
    told = serving.DOES[do](host, {"papers": [str(path) for path in papers]}, tell)
    return f"{host.name}: {told['sentence']}", told["level"] == "look"


def main_in_excel(do: str) -> None:
    """What a button of the add-in runs: the button's work, and its sentence in the line under Excel's sheet."""
    from costbook.hosts.excel import show_sentence

    try:
        sentence = press_in_excel(do)[0]
    except CostbookError as error:
        sentence = str(error)
    show_sentence(f"costbook: {sentence}")


def excel_buttons(folder: Path) -> list[Path]:
    """Writes the buttons for Excel into a folder; returns the files.

    Raises:
        CostbookError: xlwings is not installed, or the folder cannot be written.
    """
    from costbook.hosts import excel_buttons

    return excel_buttons.write(folder)


def tried_out(report: Path) -> tuple[int, Path]:
    """Runs the checks of every host on new workbooks in her Excel, and writes what came of it into a text file.

    None of her own workbooks is touched; the new ones are closed without being saved.

    Returns: how many checks went wrong, and the file.
    Raises:
        HostUnavailable: Excel is not open; she is told to open it with a blank workbook.
        WriteRefused: the report cannot be written.
    """
    from costbook.hosts import contract, excel

    try:
        books = excel.open_books()
    except HostUnavailable as error:
        if error.do.startswith("Open"):
            error.do = "Open Excel yourself with a blank workbook, and run it again."
        raise
    told = contract.run_all(lambda check: _fresh(lambda: _on_scratch(check)))
    told.append(("every figure of the demo is the same as from a file", _fresh(_same_figures)))
    told.append(("what was written is taken back", _fresh(_taken_back)))
    wrong = sum(bool(found) for _, found in told)
    head = [f"costbook {VERSION}, Python {platform.python_version()}, {platform.platform()}",
            f"xlwings {excel.library_version()}, Excel {excel.version_of(books[0])}", f"{len(told) - wrong} of {len(told)} checks went well.", ""]  # fmt: skip
    lines = [line for name, found in told for line in (f"{'WRONG' if found else 'well '}  {name}", *(f"         {words[:300]}" for words in found[:8]))]
    try:
        report.write_text("\n".join([*head, *lines, ""]), encoding="utf-8")
    except OSError as error:
        raise WriteRefused(f"the report cannot be written to {report} ({error.strerror}).", do="Name another file.") from error
    return wrong, report


def _fresh(check: Callable[[], list[str]]) -> list[str]:
    """What was wrong; what broke the check off is wrong too."""
    try:
        return check()
    except (CostbookError, ArithmeticError, AttributeError, LookupError, NotImplementedError, TypeError, ValueError) as error:
        return [f"{type(error).__name__}: {error}"]


def _on_scratch(check: Callable[[contract.Bench], list[str]]) -> list[str]:
    from costbook.hosts import contract, excel

    with excel.scratch(contract.START) as (host, types):
        return check(contract.Bench(host, types))


def _same_figures() -> list[str]:
    from costbook import commands
    from costbook.demo.workshop import demo_tabs
    from costbook.hosts import excel
    from costbook.hosts.file import create

    tabs = Edits(tabs=tuple(demo_tabs()))
    with tempfile.TemporaryDirectory() as folder, excel.scratch() as (host, _):
        create(Path(folder) / "demo.xlsx", tabs)
        figures = commands.price(Path(folder) / "demo.xlsx").figures()
        host.snapshot()
        host.apply(tabs)
        there = commands.price(host).figures()
        again = commands.price(host).written
    return [f"{key}: {there.get(key)!r}"[:300] for key in figures if there.get(key) != figures[key]] + (["a second run writes again"] if again else [])


def _taken_back() -> list[str]:
    from costbook.hosts import contract, excel

    with excel.scratch(contract.START) as (host, _):
        before = host.snapshot()
        host.apply(Edits(contract.CELLS, (contract.OURS,)))
        _, left = host.take_back()
        return [str(where) for where in left] + [repr(one) for one in contract.alike(before, host.snapshot())]


def _excel() -> Iterator[Line]:
    """Nothing where there is no Excel for the system; and it is no fault where it is not open."""
    from costbook.hosts import excel, excel_buttons

    version = excel.library_version()
    if not version and sys.platform not in ("win32", "darwin"):
        return  # there is no Excel for this system
    yield Line(True, f"xlwings {version}, through which Excel is reached" if version else f"xlwings is not installed, needed for Excel only. {excel.INSTALL}")
    if not version:
        return
    try:
        names = ", ".join(book.name for book in excel.open_books())
        yield Line(True, f"open in Excel: {names}")
    except HostError as error:
        yield Line(True, f"Excel: {error.advice}")
    for folder in excel_buttons.written_to():
        fine = excel_buttons.starts_this_python(folder)
        yield Line(fine, f"the buttons for Excel are in {folder}" + ("" if fine else ", but start another Python"), f"Run: costbook excel buttons {folder}")


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
