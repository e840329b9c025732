"""Killed at any moment, the workbook is the old or the new one, whole; its kept states are whole; the next run works.

Three ways to be killed: at random moments from outside (40, or 500 with COSTBOOK_LONG=1), at every call of the operating
system by fault injection with strace, and at every `os` function before it, after it and in the middle of a write.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from costbook import commands
from costbook.book.grid import Edits, SetCell
from costbook.errors import CostbookError, HostError
from costbook.hosts import disk
from costbook.hosts.file import WorkbookFile

REPO = Path(__file__).resolve().parents[2]
OLD = (REPO / "workbooks" / "demo.xlsx").read_bytes()
NEW = (REPO / "workbooks" / "blank.xlsx").read_bytes()
FORMER = b"a state from before"
LONG = os.environ.get("COSTBOOK_LONG") == "1"
KILLS, WHOLE_WAY_KILLS = (400, 100) if LONG else (32, 8)
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="SIGKILL and fork of POSIX systems")

Scenario = Callable[[Path], None]


def sha(data: bytes) -> str:
    return sha256(data).hexdigest()


def save(path: Path, data: bytes) -> None:
    disk.replace_file(path, data, sha(path.read_bytes()))


def ours(folder: Path, ending: str) -> list[str]:
    return [p.name for p in folder.rglob(f".costbook-*{ending}")]


def assert_whole(book: Path, *valid: bytes) -> bytes:
    """The bytes of the workbook, after a look that it and all its kept states are whole."""
    now = book.read_bytes()
    assert now in valid, f"{len(now)} bytes that are no state it ever had"
    for state in disk.kept_states(book):
        kept = state.path.read_bytes()
        assert state.holds(sha(kept)) and kept in valid
    return now


# -- at random moments ----------------------------------------------------------------------------------------------

RAW_LOOP = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from hashlib import sha256
from costbook.hosts import disk
book, new = Path(sys.argv[2]), Path(sys.argv[3]).read_bytes()
print("ready", flush=True)
while True:
    disk.replace_file(book, new, sha256(book.read_bytes()).hexdigest())
    disk.take_back(book)
"""
WHOLE_LOOP = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from costbook.book.grid import Edits, SetCell
from costbook.hosts import disk
from costbook.hosts.file import WorkbookFile
book = Path(sys.argv[2])
print("ready", flush=True)
while True:
    host = WorkbookFile(book)
    seen = host.snapshot().grids["Start"].value(0, 25)
    host.apply(Edits((SetCell("Start", 0, 25, "typed", "her text", seen),)))
    host.close()
    disk.take_back(book)
"""


def killed_after(seconds: float, code: str, *arguments: object) -> None:
    command = [sys.executable, "-B", "-c", code, str(REPO), *map(str, arguments)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout and process.stderr
    assert process.stdout.readline() == "ready\n", process.stderr.read()
    time.sleep(seconds)
    process.send_signal(signal.SIGKILL)
    said = process.communicate()[1]
    assert process.returncode == -signal.SIGKILL, f"it ended by itself: {said}"


def test_killed_at_random_moments(tmp_path: Path) -> None:
    book, new = tmp_path / "h.xlsx", tmp_path / "source" / "new.xlsx"
    new.parent.mkdir()
    book.write_bytes(OLD)
    new.write_bytes(NEW)
    chance, left_locks = random.Random(4), 0
    for _ in range(KILLS):
        killed_after(chance.uniform(0, 0.04), RAW_LOOP, book, new)
        now = assert_whole(book, OLD, NEW)
        left_locks += len(ours(tmp_path, ".lock"))
        other = NEW if now == OLD else OLD
        save(book, other)
        assert book.read_bytes() == other and not ours(tmp_path, ".lock")
        disk.take_back(book)
        assert book.read_bytes() == now
    print(f"{KILLS} kills left {left_locks} locks and {len(ours(tmp_path, '.tmp'))} temporary files")
    assert left_locks, "no kill ever fell into a save: this proves nothing"


def test_killed_at_random_moments_on_the_whole_way(tmp_path: Path) -> None:
    """Reading, making the new bytes, saving and taking back."""
    book = tmp_path / "h.xlsx"
    book.write_bytes(OLD)
    typed = Edits((SetCell("Start", 0, 25, "typed", "her text"),))
    assert WorkbookFile(book).apply(typed)
    new = book.read_bytes()
    disk.take_back(book)
    chance = random.Random(5)
    for _ in range(WHOLE_WAY_KILLS):
        killed_after(chance.uniform(0, 1.0), WHOLE_LOOP, book)
        if assert_whole(book, OLD, new) == new:
            disk.take_back(book)
        assert book.read_bytes() == OLD
        assert WorkbookFile(book).apply(typed) and book.read_bytes() == new
        disk.take_back(book)


# -- at every call --------------------------------------------------------------------------------------------------


def first_save(book: Path) -> None:
    save(book, NEW)


def take_back(book: Path) -> None:
    disk.take_back(book)


def fresh(folder: Path, scenario: str) -> Path:
    """A workbook before its first save, before a later one (with a state to be thinned out), or before a take-back."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    book = folder / "h.xlsx"
    book.write_bytes(OLD)
    if scenario != "first save":
        book.write_bytes(b"the oldest")
        for data in (FORMER, OLD):
            save(book, data)
    return book


SCENARIOS: dict[str, tuple[Scenario, bytes]] = {
    "first save": (first_save, NEW),
    "later save": (first_save, NEW),
    "take-back": (take_back, FORMER),
}
CALLS = ("open", "write", "fsync", "close", "replace", "rename", "link", "unlink", "mkdir", "rmdir", "chmod", "chown")


class Faults:
    """Counts the calls of `os` functions and does something at one of them."""

    def __init__(self, at: int = -1, act: Callable[[Callable[[], Any], tuple[Any, ...]], Any] | None = None) -> None:
        self.at, self.act, self.names = at, act, list[str]()

    def wrapped(self, name: str) -> Callable[..., Any]:
        real = getattr(os, name)

        def call(*arguments: Any, **named: Any) -> Any:
            self.names.append(name)
            if self.act and len(self.names) - 1 == self.at:
                return self.act(lambda: real(*arguments, **named), arguments)
            return real(*arguments, **named)

        return call


@pytest.fixture
def patched(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Faults], None]]:
    def patch(faults: Faults) -> None:
        monkeypatch.undo()
        for name in CALLS:
            monkeypatch.setattr(os, name, faults.wrapped(name))

    yield patch
    monkeypatch.undo()


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def before(real: Callable[[], Any], _: tuple[Any, ...]) -> Any:
    die()


def after(real: Callable[[], Any], _: tuple[Any, ...]) -> Any:
    try:
        real()
    finally:
        die()


REAL_WRITE = os.write


def halfway(real: Callable[[], Any], arguments: tuple[Any, ...]) -> Any:
    REAL_WRITE(arguments[0], bytes(arguments[1])[: len(arguments[1]) // 2])
    die()


def run_and_die(patch: Callable[[Faults], None], faults: Faults, run: Scenario, book: Path) -> int:
    """How a forked process ended that runs into the fault."""
    child = os.fork()
    if child == 0:
        code = 98
        try:
            patch(faults)
            run(book)
            code = 0
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def assert_goes_on(book: Path, new: bytes, first: bool) -> None:
    """After a kill: old or new, nothing lost, the next save and its take-back work at once."""
    now = assert_whole(book, OLD, new, NEW, FORMER, b"the oldest")
    assert now in (OLD, new)
    kept = [state.path.read_bytes() for state in disk.kept_states(book)]
    assert now == OLD or OLD in kept, "the state before the save is lost"
    assert first or now != OLD or FORMER in kept, "the state before the last finished save is lost"
    save(book, b"next")
    assert book.read_bytes() == b"next" and not ours(book.parent, ".lock")
    disk.take_back(book)
    assert book.read_bytes() == now


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_killed_at_every_call(tmp_path: Path, scenario: str, patched: Callable[[Faults], None],
                              monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    run, new = SCENARIOS[scenario]
    folder, counting = tmp_path / "books", Faults()
    book = fresh(folder, scenario)
    patched(counting)
    run(book)
    monkeypatch.undo()
    assert book.read_bytes() == new
    assert {"open", "write", "fsync", "replace", "rename", "link", "unlink", "chmod"} <= set(counting.names)
    ends = set()
    for at, name in enumerate(counting.names):
        for act in (before, after, halfway) if name == "write" else (before, after):
            book = fresh(folder, scenario)
            assert run_and_die(patched, Faults(at, act), run, book) == -signal.SIGKILL, (at, name)
            ends.add(book.read_bytes())
            assert_goes_on(book, new, scenario == "first save")
    assert ends == {OLD, new}, "kills fell on both sides of the replacement"


@pytest.mark.parametrize("scenario", SCENARIOS)
@pytest.mark.parametrize("number", [5, 28, 30])
def test_an_error_at_every_call(tmp_path: Path, scenario: str, number: int, patched: Callable[[Faults], None],
                                monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    """Input/output error, disk full, read-only: done, or one of our sentences with the old bytes and nothing left over."""
    run, new = SCENARIOS[scenario]

    def fail(real: Callable[[], Any], _: tuple[Any, ...]) -> Any:
        raise OSError(number, os.strerror(number))

    book, counting = fresh(tmp_path / "books", scenario), Faults()
    patched(counting)
    run(book)
    monkeypatch.undo()
    for at, name in enumerate(counting.names):
        book = fresh(tmp_path / "books", scenario)
        faults = Faults(at, fail)
        patched(faults)
        try:
            run(book)
            done = True
        except CostbookError as error:
            done = error.exit_code != 4
        finally:
            monkeypatch.undo()
        assert book.read_bytes() == (new if done else OLD), (at, name)
        if name not in ("unlink", "close"):
            assert not ours(book.parent, ".tmp") and not ours(book.parent, ".lock"), (at, name)
            assert_goes_on(book, new, scenario == "first save")


# -- at every system call -------------------------------------------------------------------------------------------

TRACED = "openat,write,fsync,?rename,?renameat,?renameat2,?link,linkat,?unlink,unlinkat,?mkdir,mkdirat,?rmdir,?chmod,fchmodat,?chown,fchownat"
ONE_SAVE = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from hashlib import sha256
from costbook.hosts import disk
book, new = Path(sys.argv[2]), Path(sys.argv[3]).read_bytes()
disk.replace_file(book, new, sha256(book.read_bytes()).hexdigest())
"""


def traced(options: list[str], book: Path, new: Path) -> int:
    command = ["strace", "-f", "-y", "-e", f"trace={TRACED}", *options]
    program = [sys.executable, "-S", "-E", "-B", "-c", ONE_SAVE, str(REPO), str(book), str(new)]
    return subprocess.run([*command, *program], capture_output=True, check=False, timeout=60).returncode


def test_killed_at_every_system_call(tmp_path: Path) -> None:
    log, new = tmp_path / "log", tmp_path / "new.xlsx"
    new.write_bytes(NEW)
    if not shutil.which("strace"):
        pytest.skip("strace is not installed")
    book = fresh(tmp_path / "books", "later save")
    if traced(["-o", str(log)], book, new) != 0:
        pytest.skip("strace may not follow processes here")
    assert book.read_bytes() == NEW
    seen: dict[str, int] = {}
    hits = []
    for line in log.read_text(errors="replace").splitlines():
        call = re.match(r"\d+ +(\w+)\((.*)", line)
        if call:
            seen[call[1]] = seen.get(call[1], 0) + 1
            if str(book.parent) in call[2]:
                hits.append((call[1], seen[call[1]]))
    assert len(hits) >= 20 and {"openat", "write", "fsync"} <= {name for name, _ in hits}
    ends = set()
    for name, when in hits:
        book = fresh(tmp_path / "books", "later save")
        code = traced(["-o", os.devnull, "-e", f"inject={name}:signal=KILL:when={when}"], book, new)
        assert code == -signal.SIGKILL, (name, when, code)
        ends.add(book.read_bytes())
        assert_goes_on(book, NEW, first=False)
    assert ends == {OLD, NEW}


# -- two at once ----------------------------------------------------------------------------------------------------

PRICING = """
import sys, time
sys.path.insert(0, sys.argv[1])
from datetime import date
from pathlib import Path
from costbook import commands
from costbook.errors import CostbookError, HostError
go = Path(sys.argv[3])
def tell(words):
    if words == "writing":
        print("ready", flush=True)
        while not go.exists():
            time.sleep(0.002)
try:
    print("written" if commands.price(Path(sys.argv[2]), tell, date(2026, 11, 25)).written else "nothing changed")
except CostbookError as error:
    print(error.exit_code, error)
"""


def test_two_runs_pricing_the_same_book_at_once(tmp_path: Path) -> None:
    """Both have read the same bytes and worked out their prices before either may write."""
    for turn in range(3):
        folder = tmp_path / str(turn)
        folder.mkdir()
        book, alone, go = folder / "h.xlsx", tmp_path / f"alone{turn}" / "h.xlsx", tmp_path / f"go{turn}"
        alone.parent.mkdir()
        for path in (book, alone):
            path.write_bytes(NEW)
        assert commands.price(alone, today=date(2026, 11, 25)).written
        command = [sys.executable, "-c", PRICING, str(REPO), str(book), str(go)]
        runs = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
        assert [run.stdout.readline() for run in runs if run.stdout] == ["ready\n"] * 2
        go.touch()
        said = sorted((run.communicate(timeout=60)[0].strip() for run in runs), reverse=True)
        assert said[0] == "written" and said[1].startswith("4 h.xlsx "), said
        assert "another run of costbook" in said[1] or "was changed by another program" in said[1]
        assert book.read_bytes() == alone.read_bytes()
        assert [state.path.read_bytes() for state in disk.kept_states(book)] == [NEW]
        assert not ours(folder, ".lock") and not ours(folder, ".tmp")


def test_two_commands_pricing_the_same_book_at_once(tmp_path: Path) -> None:
    """Started together as she would start them: one writes, the other is told so or finds nothing left to do."""
    environment = dict(os.environ, PYTHONPATH=str(REPO), PYTHONDONTWRITEBYTECODE="1")
    base = tmp_path / "base.xlsx"
    base.write_bytes(NEW)
    host = WorkbookFile(base)
    labels = [row[0] if row else None for row in host.snapshot().grids["Start"].rows]
    # A day of its own, so that midnight between the runs makes no difference.
    day = SetCell("Start", labels.index("Book date"), 1, date(2026, 11, 25), "her date")
    assert host.apply(Edits((day,)))
    alone = Path(shutil.copyfile(base, tmp_path / "alone.xlsx"))
    assert commands.price(alone).written
    for turn in range(4):
        folder = tmp_path / str(turn)
        folder.mkdir()
        book = Path(shutil.copyfile(base, folder / "h.xlsx"))
        command = [sys.executable, "-m", "costbook", "price", str(book)]
        runs = []
        for pause in (0.0, 0.02 * turn):
            time.sleep(pause)
            runs.append(
                subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
            )
        told = [(*run.communicate(timeout=60), run.returncode) for run in runs]
        assert sum(out.rstrip().endswith("h.xlsx: written.") for out, _, _ in told) == 1, told
        for out, err, code in told:
            said = err.strip()
            if code == HostError.exit_code:
                assert not out and len(said.splitlines()) == 1 and said.startswith("costbook: h.xlsx "), told
                assert "another run of costbook" in said or "was changed by another program" in said, told
            else:
                assert (
                    code == 0
                    and not said
                    and re.search(r"h\.xlsx: (written|nothing changed, file left as it is)\.$", out.rstrip())
                ), told
        assert book.read_bytes() == alone.read_bytes()
        assert [state.path.read_bytes() for state in disk.kept_states(book)] == [base.read_bytes()]
        assert not ours(folder, ".lock") and not ours(folder, ".tmp")
