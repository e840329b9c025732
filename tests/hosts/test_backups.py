"""Earlier states: kept before every save, verified, thinned out by days, and put back byte for byte.

The disk does not look into the bytes, so most of these use short texts for workbooks. Which states must stay is worked out
by hand from the rule in words: the state before the last save, and the first of each of the last three days.
"""

from __future__ import annotations

import os
import random
import shutil
import stat
import time
from hashlib import sha256
from pathlib import Path

import pytest

from costbook import cli, commands
from costbook.errors import WorkbookBusy, WorkbookChanged, WriteRefused
from costbook.hosts import backups, disk

REPO = Path(__file__).resolve().parents[2]


class Clock:
    """A clock that stands where it was put; what it does not tell itself the real one does."""

    def __init__(self, stamp: str) -> None:
        self.stamp = stamp

    def strftime(self, pattern: str, moment: time.struct_time | None = None) -> str:
        return self.stamp if moment is None else time.strftime(pattern, moment)

    def __getattr__(self, name: str) -> object:
        return getattr(time, name)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock("2026-11-25 100000")
    monkeypatch.setattr(backups, "time", made)
    return made


def save(path: Path, data: bytes) -> None:
    disk.replace_file(path, data, sha256(path.read_bytes()).hexdigest())


def kept(path: Path) -> list[bytes]:
    """The bytes of the kept states, newest first."""
    return [state.path.read_bytes() for state in disk.kept_states(path)]


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "her book.xlsx"
    path.write_bytes(b"v0")
    return path


def test_the_state_before_a_save_is_kept_under_a_name_that_tells(book: Path, clock: Clock) -> None:
    book.chmod(0o640)
    save(book, b"v1")
    folder = book.parent / "costbook-backups"
    name = f"her book 2026-11-25 100000 {sha256(b'v0').hexdigest()[:12]}.xlsx"
    assert os.listdir(folder) == [name] and (folder / name).read_bytes() == b"v0"
    assert stat.S_IMODE((folder / name).stat().st_mode) == 0o640, "what is private stays private"
    assert sorted(os.listdir(book.parent)) == ["costbook-backups", "her book.xlsx"]


def test_what_stays_over_days(book: Path, clock: Clock) -> None:
    course = [
        ("2026-11-21 100000", ["v0"]),
        ("2026-11-21 110000", ["v1", "v0"]),
        ("2026-11-21 120000", ["v2", "v0"]),
        ("2026-11-22 100000", ["v3", "v0"]),
        ("2026-11-24 100000", ["v4", "v3", "v0"]),
        ("2026-11-25 100000", ["v5", "v4", "v3"]),
        ("2026-11-25 170000", ["v6", "v5", "v4", "v3"]),
        ("2026-12-31 000000", ["v7", "v5", "v4"]),
    ]
    for number, (stamp, stays) in enumerate(course, 1):
        clock.stamp = stamp
        save(book, f"v{number}".encode())
        assert [data.decode() for data in kept(book)] == stays, stamp


def test_a_clock_put_back_does_not_change_the_order(book: Path, clock: Clock) -> None:
    save(book, b"v1")
    clock.stamp = "2026-11-25 090000"
    save(book, b"v2")
    assert kept(book) == [b"v1", b"v0"]
    assert [state.kept for state in disk.kept_states(book)] == ["2026-11-25 10:00:01", "2026-11-25 10:00:00"]
    disk.take_back(book)
    assert book.read_bytes() == b"v1"


def test_books_do_not_mix_up_their_states(book: Path, clock: Clock) -> None:
    others = [book.with_name(name) for name in ("her book.xlsm", "her book 2.xlsx", "her.xlsx", "x" * 240 + ".xlsx")]
    for other in others:
        other.write_bytes(other.name.encode())
        save(other, b"new")
    assert kept(book) == []
    save(book, b"v1")
    assert kept(book) == [b"v0"]
    assert [kept(other) for other in others] == [[other.name.encode()] for other in others]


def test_take_back_and_once_more(book: Path) -> None:
    save(book, b"v1")
    save(book, b"v2")
    put = disk.take_back(book)
    assert put and put.holds(sha256(b"v1").hexdigest())
    assert book.read_bytes() == b"v1" and b"v2" in kept(book), "what was replaced is kept too"
    disk.take_back(book)
    assert book.read_bytes() == b"v2"
    disk.take_back(book)
    assert book.read_bytes() == b"v1"


@pytest.mark.parametrize("seed", range(20))
def test_after_any_course_of_saves_the_state_before_the_last_is_there(book: Path, clock: Clock, seed: int) -> None:
    chance = random.Random(seed)
    before, now = b"", b"v0"
    for _ in range(25):
        clock.stamp = f"2026-11-{chance.randint(20, 26)} {chance.randint(10, 23)}{chance.randint(10, 59)}00"
        if before and chance.random() < 0.4:
            disk.take_back(book)
            before, now = now, before
        else:
            new = f"v{chance.randint(0, 6)}".encode()
            if new == now:
                continue
            save(book, new)
            before, now = now, new
        assert book.read_bytes() == now and before in kept(book)
        assert len(kept(book)) <= 4


def test_a_numbered_state_is_put_back(book: Path, clock: Clock) -> None:
    for day in (1, 2, 3):
        clock.stamp = f"2026-11-0{day} 100000"
        save(book, f"v{day}".encode())
    assert kept(book) == [b"v2", b"v1", b"v0"]
    disk.take_back(book, 3)
    assert book.read_bytes() == b"v0"
    with pytest.raises(WriteRefused, match="there is no state 9"):
        disk.take_back(book, 9)
    with pytest.raises(WriteRefused, match="there is no state 0"):
        disk.take_back(book, 0)


def test_a_state_it_is_in_already_writes_nothing(book: Path) -> None:
    save(book, b"v1")
    disk.take_back(book)
    stamp = book.stat().st_mtime_ns
    number = next(n for n, state in enumerate(disk.kept_states(book), 1) if state.path.read_bytes() == b"v0")
    assert disk.take_back(book, number) is None and book.stat().st_mtime_ns == stamp


def test_a_workbook_that_is_gone_comes_back(book: Path) -> None:
    save(book, b"v1")
    book.unlink()
    disk.take_back(book)
    assert book.read_bytes() == b"v0"


def test_a_backup_for_a_save_that_did_not_happen_is_not_taken_for_the_state_before(book: Path) -> None:
    """As a crash between the backup and the replacement leaves it."""
    save(book, b"v1")
    assert backups.keep(book, sha256(b"v1").hexdigest())
    assert kept(book) == [b"v1", b"v0"]
    assert backups.keep(book, sha256(b"v1").hexdigest()) is None, "it is not kept twice"
    disk.take_back(book)
    assert book.read_bytes() == b"v0"


def test_a_damaged_state_is_told_and_not_put_back(book: Path) -> None:
    save(book, b"v1")
    disk.kept_states(book)[0].path.write_bytes(b"rotten")
    with pytest.raises(WriteRefused, match="is damaged"):
        disk.take_back(book)
    assert book.read_bytes() == b"v1"


def test_a_backup_that_does_not_read_back_stops_the_save(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def rotten(temporary: Path, source: Path) -> None:
        temporary.write_bytes(source.read_bytes()[:-1])

    monkeypatch.setattr(backups, "copied", rotten)
    with pytest.raises(WriteRefused, match="did not read back"):
        save(book, b"v1")
    assert book.read_bytes() == b"v0" and os.listdir(book.parent) == [book.name]


def test_a_refused_save_leaves_no_backup_and_keeps_the_old_ones(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save(book, b"v1")
    before = kept(book)

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(WriteRefused, match="No space left"):
        save(book, b"v2")
    assert book.read_bytes() == b"v1" and kept(book) == before


def test_a_file_in_the_place_of_the_folder_is_told(book: Path) -> None:
    (book.parent / "costbook-backups").write_bytes(b"mine")
    with pytest.raises(WriteRefused, match="a file of that name stands there"):
        save(book, b"v1")
    assert book.read_bytes() == b"v0" and (book.parent / "costbook-backups").read_bytes() == b"mine"
    assert disk.kept_states(book) == []


def test_foreign_files_in_the_folder_are_left_alone(book: Path, clock: Clock) -> None:
    folder = book.parent / "costbook-backups"
    folder.mkdir()
    foreign = ("her book.xlsx", "notes.txt", "her book 2026-11-25 100000 nothash.xlsx")
    for name in foreign:
        (folder / name).write_bytes(b"hers")
    odd = folder / "her book 9999-99-99 999999 0123456789ab.xlsx"
    odd.write_bytes(b"no date")
    for number in range(1, 8):
        clock.stamp = f"2026-11-{10 + number} 100000"
        save(book, f"v{number}".encode())
    assert all((folder / name).read_bytes() == b"hers" for name in foreign)


def test_a_link_keeps_its_states_beside_the_real_file(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    real = tmp_path / "real" / "h.xlsx"
    real.write_bytes(b"v0")
    link = tmp_path / "link.xlsx"
    link.symlink_to(real)
    save(link, b"v1")
    assert link.is_symlink() and kept(real) == kept(link) == [b"v0"]
    disk.take_back(link)
    assert link.is_symlink() and real.read_bytes() == b"v0"


# -- the command ----------------------------------------------------------------------------------------------------


@pytest.fixture
def priced(tmp_path: Path) -> Path:
    """The blank workbook, priced once."""
    path = Path(shutil.copyfile(REPO / "workbooks" / "blank.xlsx", tmp_path / "b.xlsx"))
    assert commands.price(path).written
    return path


def test_the_command_puts_the_exact_bytes_back(priced: Path, capsys: pytest.CaptureFixture[str]) -> None:
    after = priced.read_bytes()
    assert cli.main(["takeback", str(priced)]) == 0
    assert priced.read_bytes() == (REPO / "workbooks" / "blank.xlsx").read_bytes()
    assert "is again as it was" in capsys.readouterr().out
    assert cli.main(["takeback", str(priced)]) == 0
    assert priced.read_bytes() == after


def test_the_command_lists(priced: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (priced.read_bytes(), priced.stat().st_mtime_ns)
    assert cli.main(["takeback", str(priced), "--list"]) == 0
    [line] = capsys.readouterr().out.splitlines()
    blank = (REPO / "workbooks" / "blank.xlsx").read_bytes()
    assert line.split()[0] == "1" and f"{len(blank):,} bytes" in line and sha256(blank).hexdigest()[:12] in line
    assert (priced.read_bytes(), priced.stat().st_mtime_ns) == before
    assert cli.main(["takeback", str(tmp_path / "other.xlsx"), "--list"]) == 0
    assert "No earlier state" in capsys.readouterr().out


def test_the_command_says_in_a_sentence_what_stands_in_its_way(
    priced: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = priced.read_bytes()
    lock = priced.with_name(".~lock.b.xlsx#")
    lock.write_bytes(b"Ada,ada,bench;")
    assert cli.main(["takeback", str(priced)]) == WorkbookBusy.exit_code == 4
    assert "is open by Ada" in capsys.readouterr().err and priced.read_bytes() == before
    lock.unlink()
    shutil.rmtree(priced.parent / "costbook-backups")
    assert cli.main(["takeback", str(priced)]) == 4
    said = capsys.readouterr().err
    assert "there is no earlier state of b.xlsx" in said and len(said.splitlines()) == 1
    assert cli.main(["takeback", str(priced.with_name("gone.xlsx"))]) == 4


def test_a_second_run_that_writes_nothing_keeps_nothing(priced: Path) -> None:
    before = kept(priced)
    assert not commands.price(priced).written and kept(priced) == before


def test_a_file_changed_since_it_was_read_keeps_nothing(book: Path) -> None:
    with pytest.raises(WorkbookChanged):
        disk.replace_file(book, b"v1", sha256(b"other").hexdigest())
    assert os.listdir(book.parent) == [book.name] and book.read_bytes() == b"v0"
