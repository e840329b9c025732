"""The real button in the real program, on a screen nobody sees: found, clicked, read back, undone; and pressed at bad moments."""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from benchmarks import books
from hosts.conftest import needs, office_or_skip

from costbook import cli, commands
from costbook.book.grid import Edits, Snapshot
from costbook.demo.papers import papers
from costbook.demo.workshop import demo_tabs
from costbook.hosts.calc import CalcDocument
from costbook.hosts.file import WorkbookFile, create
from costbook.hosts.headless import Office

pytestmark = pytest.mark.office
PATIENCE_SECONDS = 60
SCREEN = "1400x900x24"


def wait_for(what: Callable[[], object], seconds: float = PATIENCE_SECONDS) -> object:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = what()
        if found:
            return found
        time.sleep(0.1)
    raise AssertionError("it did not happen in time")


@dataclass
class Desk:
    """Her screen with the workbook open in the office program."""

    office: Office
    book: Path
    pictures: Path

    def click(self, button: str) -> None:
        place = wait_for(lambda: self.office.ask({"ask": "place", "name": button}).get("place"))
        assert isinstance(place, list)
        subprocess.run(["xdotool", "mousemove", *map(str, place), "click", "1"], check=True, timeout=30)

    def key(self, name: str) -> None:
        subprocess.run(["xdotool", "key", name], check=True, timeout=30)

    def goes_to(self, x: int, y: int) -> int:
        """A click on a cell; its row, once the office has gone there."""
        before = self.office.ask({"ask": "selected"})
        subprocess.run(["xdotool", "mousemove", str(x), str(y), "click", "1"], check=True, timeout=30)
        wait_for(lambda: self.office.ask({"ask": "selected"}) != before)
        row = self.office.ask({"ask": "selected"})["row"]
        assert isinstance(row, int)
        return row

    def types(self, text: str) -> None:
        """Keys; the screen hands them and what follows on in their order."""
        subprocess.run(["xdotool", "type", text], check=True, timeout=30)

    def window(self) -> str:
        """The window that gets the keys, empty while there is none."""
        return subprocess.run(["xdotool", "getactivewindow"], capture_output=True, text=True, check=False, timeout=30).stdout

    def faces(self, button: str) -> None:
        """A button that opens a window, and that window before her."""
        before = self.window()
        self.click(button)
        wait_for(lambda: self.window() not in (before, ""))

    def picture(self, name: str) -> Path:
        time.sleep(0.5)  # what has been decided is drawn a moment later
        path = self.pictures / f"{name}.png"
        subprocess.run(["import", "-window", "root", str(path)], check=True, timeout=60)
        return path

    def snapshot(self) -> Snapshot:
        return CalcDocument(self.office.ask, self.book).snapshot()

    def said(self) -> list[str]:
        """Every sentence that was shown, oldest first."""
        logs = list(self.office.profile.rglob("costbook-log.txt"))
        return [line[20:] for line in logs[0].read_text(encoding="utf-8").splitlines()] if logs else []

    def pressed(self, button: str) -> str:
        """The sentence that comes of pressing a button."""
        before = len(self.said())
        self.click(button)
        return self.next_sentence(before)

    def next_sentence(self, before: int) -> str:
        wait_for(lambda: len(self.said()) > before)
        return self.said()[-1]

    def asks_stopped(self, engine: int, button: str) -> None:
        """A button pressed while the engine stands still, once its question lies before the engine."""
        os.kill(engine, signal.SIGSTOP)
        self.click(button)
        with open(f"/proc/{engine}/fd/0", "rb", buffering=0) as asked:
            wait_for(lambda: int.from_bytes(fcntl.ioctl(asked, termios.FIONREAD, bytes(4)), sys.byteorder))

    def engines(self) -> list[int]:
        """The processes of the engine that belong to this office."""
        found = []
        for entry in Path("/proc").iterdir():
            try:
                if entry.name.isdigit() and b"costbook.serving" in (entry / "cmdline").read_bytes() and os.getsid(int(entry.name)) == self.office.office.pid:
                    found.append(int(entry.name))
            except OSError:
                continue
        return found


@pytest.fixture(scope="module")
def screen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A screen with a window manager, and the environment that leads there."""
    needs("Xvfb", "openbox", "xdotool", "import")
    reading, writing = os.pipe()
    server = subprocess.Popen(["Xvfb", "-displayfd", str(writing), "-screen", "0", SCREEN, "-nolisten", "tcp"], pass_fds=(writing,),
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as told:
        display = ":" + told.readline().strip()
    kept = {name: os.environ.get(name) for name in ("DISPLAY", "SAL_USE_VCLPLUGIN")}
    os.environ.update(DISPLAY=display, SAL_USE_VCLPLUGIN="gen")
    manager = subprocess.Popen(["openbox"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    yield
    for process in (manager, server):
        process.terminate()
        process.wait()
    for name, value in kept.items():
        if value is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = value


@pytest.fixture
def desk(screen: None, posted: Path, tmp_path: Path) -> Iterator[Desk]:
    """The demo workbook, its papers posted, open on her screen."""
    yield from started(Path(shutil.copy(posted, tmp_path / "book.xlsx")), tmp_path)


def started(book: Path, tmp_path: Path) -> Iterator[Desk]:
    """The extension put in by its command, the office started, the workbook open."""
    profile = tmp_path / "profile"
    assert cli.main(["install", "--profile", str(profile)]) == 0
    office = office_or_skip(profile=profile, options=(str(book),))
    pictures = Path(os.environ.get("COSTBOOK_PICTURES", tmp_path))
    pictures.mkdir(exist_ok=True)
    try:
        wait_for(lambda: "refused" not in office.ask({"ask": "take"}) and "refused" not in office.ask({"ask": "tabs"}))
        wait_for(lambda: office.ask({"ask": "place", "name": "Price"}).get("place"))
        yield Desk(office, book, pictures)
    finally:
        office.end()


def test_the_button_is_clicked_and_one_key_takes_it_back(desk: Desk) -> None:
    start, saved = desk.snapshot(), desk.book.read_bytes()
    desk.picture("1-before")
    sentence = desk.pressed("Price")
    assert sentence.startswith("14 of 14 products priced, ")
    assert desk.office.ask({"ask": "shown"})["bar"]
    after = desk.snapshot()
    priced = desk.book.with_name("closed.xlsx")
    shutil.copy(desk.book, priced)
    commands.price(priced)
    wanted = WorkbookFile(priced).snapshot()
    assert list(after.grids) == list(wanted.grids)
    assert [name for name, grid in wanted.grids.items() if not grid.same_values(after.grids[name])] == []
    desk.picture("2-priced")

    desk.click("Findings")
    wait_for(lambda: desk.office.ask({"ask": "shown"})["tab"] == "Findings")
    desk.picture("3-findings")
    for tab in ("Prices", "Costs"):
        desk.office.ask({"ask": "show_tab", "tab": tab})
        desk.picture(f"4-{tab.lower()}")

    desk.key("ctrl+z")
    wait_for(lambda: desk.snapshot() == start)
    desk.picture("5-undone")
    desk.key("ctrl+y")
    wait_for(lambda: desk.snapshot() == after)
    assert desk.pressed("Price").startswith("Nothing changed: the workbook shows all of it already.")
    desk.click("Take back")
    wait_for(lambda: desk.snapshot() == start)
    assert desk.book.read_bytes() == saved, "nothing is saved but by her"


def test_what_she_is_typing_goes_into_the_cell_she_types_it_in(desk: Desk) -> None:
    """A value not entered yet counts when she presses the button; one begun while the tool works stays her own."""
    row = desk.goes_to(1200, 700)
    desk.types("9876")
    assert desk.pressed("Price").startswith("14 of 14 products priced, ")
    assert desk.office.ask({"ask": "titles"})["undo"][:2] == ["costbook: Price", "Input"]
    desk.key("ctrl+z")
    wait_for(lambda: "Costs" not in desk.snapshot().grids)

    (engine,) = desk.engines()
    before = len(desk.said())
    desk.asks_stopped(engine, "Price")
    other = desk.goes_to(1200, 640)
    desk.types("5432")
    os.kill(engine, signal.SIGCONT)
    desk.next_sentence(before)
    desk.key("Return")
    wait_for(lambda: str(desk.snapshot().grids["Start"].value(other, 2)).startswith("5432"))
    typed = [
        (name, r) for name, grid in desk.snapshot().grids.items() for r, cells in enumerate(grid.rows) for v in cells
        if str(v).startswith(("9876", "5432"))
    ]  # fmt: skip
    assert sorted(typed) == sorted([("Start", row), ("Start", other)])


def test_papers_are_chosen_in_a_window_and_the_other_buttons_answer(screen: None, tmp_path: Path) -> None:
    """From a workbook without papers to what changed and what to make next, all by buttons."""
    book = tmp_path / "book.xlsx"
    create(book, Edits(tabs=tuple(demo_tabs())))
    drawer = tmp_path / "papers"
    drawer.mkdir()
    for name, data in papers().items():
        (drawer / name).write_bytes(data)
    for desk in started(book, tmp_path):
        before = len(desk.said())
        desk.faces("Post papers")
        desk.picture("6-papers")
        desk.key("Escape")
        assert desk.next_sentence(before) == "There was no paper to post."
        names = sorted(papers())
        for done, name in enumerate(names, 1):
            before = len(desk.said())
            desk.faces("Post papers")
            desk.types(str(drawer / name))
            desk.key("Return")
            assert desk.next_sentence(before).startswith("1 paper posted"), (done, name)
        desk.office.ask({"ask": "show_tab", "tab": "Purchases"})
        desk.picture("6-posted")
        assert desk.pressed("Price").startswith("14 of 14 products priced, ")
        assert "a year at present sales" in desk.pressed("What changed")
        desk.office.ask({"ask": "show_tab", "tab": "What changed"})
        desk.picture("7-changed")
        assert desk.pressed("Make next").startswith("First: ")
        desk.office.ask({"ask": "show_tab", "tab": "Make next"})
        desk.picture("8-next")
        titles = desk.office.ask({"ask": "titles"})["undo"]
        assert titles == ["costbook: Make next", "costbook: What changed", "costbook: Price"] + ["costbook: Post papers"] * len(names)


def test_500_products_are_priced_in_the_open_workbook(screen: None, tmp_path: Path) -> None:
    """A large book by the button, taken back, and again; how long it takes is printed, and no test fails for being slow."""
    book, closed = tmp_path / "book.xlsx", tmp_path / "closed.xlsx"
    books.save(books.tabs(books.Shape(200, 150, 500)), book)
    shutil.copy(book, closed)
    begun = time.monotonic()
    subprocess.run([sys.executable, "-m", "costbook", "price", str(closed)], capture_output=True, check=False, timeout=300)
    alone = time.monotonic() - begun
    for big in started(book, tmp_path):
        presses = []
        for _ in range(2):
            begun = time.monotonic()
            assert big.pressed("Price").startswith("500 of 500 products priced, ")
            presses.append(time.monotonic() - begun)
            big.key("ctrl+z")
            wait_for(lambda desk=big: "Costs" not in desk.office.ask({"ask": "tabs"})["tabs"])
        print(f"closed {alone:.2f} s, warm press {presses[-1]:.2f} s: {presses[-1] / alone:.1f} x")


def pressed_with_the_engine_stopped(desk: Desk) -> tuple[int, int]:
    """The engine, which stands still before its question, and how many sentences were said before the press."""
    start = desk.snapshot()
    desk.pressed("Price")
    desk.key("ctrl+z")
    wait_for(lambda: desk.snapshot() == start)
    (engine,) = desk.engines()
    before = len(desk.said())
    desk.asks_stopped(engine, "Price")
    return engine, before


def test_cancel_and_a_killed_engine_leave_the_workbook(desk: Desk) -> None:
    start = desk.snapshot()
    _, before = pressed_with_the_engine_stopped(desk)
    desk.click("Cancel")
    assert desk.next_sentence(before) == "Cancelled; the workbook is as it was."
    assert desk.snapshot() == start

    engine, before = pressed_with_the_engine_stopped(desk)
    os.kill(engine, signal.SIGKILL)
    assert desk.next_sentence(before).startswith("The tool broke off before it was done; the workbook is as it was.")
    assert desk.snapshot() == start
    assert desk.pressed("Price").startswith("14 of 14 products priced, ")


def test_a_document_closed_while_it_works(desk: Desk) -> None:
    engine, before = pressed_with_the_engine_stopped(desk)
    desk.office.ask({"ask": "shut"})
    os.kill(engine, signal.SIGCONT)
    assert desk.next_sentence(before).startswith("the workbook was closed while the tool worked; nothing was written")


def test_the_engine_goes_with_the_office(desk: Desk) -> None:
    before = desk.book.read_bytes()
    desk.pressed("Price")
    (engine,) = desk.engines()
    os.killpg(desk.office.office.pid, signal.SIGSTOP)
    for process in (desk.office.office.pid, *children(desk.office.office.pid)):
        if process != engine:
            os.kill(process, signal.SIGKILL)
    os.kill(engine, signal.SIGCONT)
    wait_for(lambda: not Path(f"/proc/{engine}").exists() or b"Z" in Path(f"/proc/{engine}/stat").read_bytes().split()[2:3])
    assert desk.book.read_bytes() == before


def children(session: int) -> list[int]:
    """The processes of a session."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            if entry.name.isdigit() and os.getsid(int(entry.name)) == session:
                found.append(int(entry.name))
        except OSError:
            continue
    return found
