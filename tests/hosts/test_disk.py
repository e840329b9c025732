"""Locks, second versions, read-only places and full disks: the old bytes stay, nothing of ours is left, one sentence.

How Windows answers when a file is held open is from memory and imitated here; nothing of it has run on Windows.
"""

from __future__ import annotations

import ast
import ctypes
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from costbook import cli, commands
from costbook.errors import WorkbookBusy, WorkbookChanged, WriteRefused
from costbook.hosts import disk, locks

REPO = Path(__file__).resolve().parents[2]
BLANK = REPO / "workbooks" / "blank.xlsx"
NOBODY = 65534
posix = pytest.mark.skipif(os.name != "posix", reason="limits, mounts and users of POSIX systems")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "h.xlsx"
    path.write_bytes(b"old")
    return path


def save(path: Path, data: bytes) -> None:
    disk.replace_file(path, data, sha256(path.read_bytes()).hexdigest())


def lock_beside(path: Path, *fields: str) -> Path:
    lock = locks.lock_of(path)
    lock.write_bytes("\t".join(fields).encode())
    return lock


def mine() -> list[str]:
    return locks._mine().decode().split("\t")


def ended() -> int:
    """The number of a process that is over."""
    process = subprocess.Popen([sys.executable, "-S", "-c", ""])
    process.wait()
    return process.pid


# -- our own lock ---------------------------------------------------------------------------------------------------


def test_no_lock_stays_after_a_save(book: Path) -> None:
    save(book, b"new")
    assert sorted(os.listdir(book.parent)) == ["costbook-backups", "h.xlsx"]


def test_a_run_that_is_alive_keeps_others_out(book: Path) -> None:
    with locks.held(book, "h.xlsx"):
        for action in (lambda: save(book, b"new"), lambda: disk.refuse_if_open(book)):
            with pytest.raises(WorkbookBusy, match=rf"another run of costbook \(process {os.getpid()} on "):
                action()
        assert book.read_bytes() == b"old"
    save(book, b"new")
    assert book.read_bytes() == b"new"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="the system does not tell when a process began")
@pytest.mark.parametrize("kind", ["gone", "other boot", "number used again", "zombie"])
def test_a_lock_left_by_a_crash_is_removed(book: Path, kind: str) -> None:
    pid, host, boot, born, nonce = mine()
    waiting = subprocess.Popen([sys.executable, "-S", "-c", ""])
    time.sleep(0.3)  # over, and not yet asked after: the system still lists it
    left = {
        "gone": (str(ended()), host, boot, born, nonce),
        "other boot": (pid, host, "another", born, nonce),
        "number used again": (pid, host, boot, "1", nonce),
        "zombie": (str(waiting.pid), host, boot, born, nonce),
    }
    lock_beside(book, *left[kind])
    disk.refuse_if_open(book)
    save(book, b"new")
    waiting.wait()
    assert book.read_bytes() == b"new" and sorted(os.listdir(book.parent)) == ["costbook-backups", "h.xlsx"]


@pytest.mark.parametrize(("fields", "seconds"), [(("7", "elsewhere", "b", "1", "n"), 3600), (("",), 10)])
def test_of_another_computer_or_a_half_written_lock_only_the_age_counts(
    book: Path, fields: tuple[str, ...], seconds: int
) -> None:
    lock = lock_beside(book, *fields)
    with pytest.raises(WorkbookBusy, match=r"delete \.costbook-h\.xlsx\.lock"):
        save(book, b"new")
    assert lock.exists() and book.read_bytes() == b"old"
    old = time.time() - seconds - 5
    os.utime(lock, (old, old))
    save(book, b"new")
    assert book.read_bytes() == b"new" and not lock.exists()


def test_without_second_names_for_files_the_lock_works_too(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", none)
    with locks.held(book, "h.xlsx"), pytest.raises(WorkbookBusy):
        save(book, b"new")
    save(book, b"new")
    assert book.read_bytes() == b"new" and sorted(os.listdir(book.parent)) == ["costbook-backups", "h.xlsx"]


def test_a_lock_taken_away_meanwhile_stops_the_save(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flushed = disk.flushed

    def meanwhile(temporary: Path, data: bytes, target: Path) -> None:
        flushed(temporary, data, target)
        lock_beside(book, "7", "elsewhere", "b", "1", "n")

    monkeypatch.setattr(disk, "flushed", meanwhile)
    with pytest.raises(WorkbookBusy, match="process 7 on elsewhere"):
        save(book, b"new")
    assert book.read_bytes() == b"old" and locks.lock_of(book).exists(), "the other's lock is not removed"


def test_an_office_program_that_opens_it_meanwhile_stops_the_save(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flushed = disk.flushed

    def meanwhile(temporary: Path, data: bytes, target: Path) -> None:
        flushed(temporary, data, target)
        book.with_name("~$h.xlsx").write_bytes(b"\x03Ada")

    monkeypatch.setattr(disk, "flushed", meanwhile)
    with pytest.raises(WorkbookBusy, match="open by Ada"):
        save(book, b"new")
    assert book.read_bytes() == b"old" and sorted(os.listdir(book.parent)) == ["h.xlsx", "~$h.xlsx"]


def test_many_at_once_after_a_crash_one_wins(book: Path) -> None:
    """All find the same stale lock and have read the same bytes."""
    for turn in range(20):
        now = book.read_bytes()
        expected = sha256(now).hexdigest()
        _pid, host, _boot, born, nonce = mine()
        lock_beside(book, "1", host, "another boot", born, nonce)
        start, said = threading.Barrier(6), []

        def run(number: int, turn: int = turn, expected: str = expected, start: threading.Barrier = start,
                said: list[object] = said) -> None:  # fmt: skip
            start.wait()
            try:
                disk.replace_file(book, f"{turn} {number}".encode(), expected)
                said.append(number)
            except (WorkbookBusy, WorkbookChanged) as error:
                said.append(error)

        threads = [threading.Thread(target=run, args=(number,)) for number in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        won = [x for x in said if isinstance(x, int)]
        assert len(said) == 6 and len(won) == 1 and book.read_bytes() == f"{turn} {won[0]}".encode()
        assert sorted(os.listdir(book.parent)) == ["costbook-backups", "h.xlsx"]


# -- temporary files ------------------------------------------------------------------------------------------------


def test_orphans_are_swept_by_age_and_nothing_else(book: Path) -> None:
    save(book, b"first")
    places = (book.parent, book.parent / "costbook-backups")
    for place in places:
        for name, hours in ((".costbook-1-a.tmp", 2.0), (".costbook-2-a.tmp", 0.5), ("hers.tmp", 9.0)):
            (place / name).write_bytes(b"x")
            moment = time.time() - hours * 3600
            os.utime(place / name, (moment, moment))
    save(book, b"second")
    for place in places:
        assert {n for n in os.listdir(place) if n.endswith(".tmp")} == {".costbook-2-a.tmp", "hers.tmp"}


def test_a_very_long_name_is_saved_too(tmp_path: Path) -> None:
    path = tmp_path / ("ü" * 120 + ".xlsx")
    path.write_bytes(b"old")
    save(path, b"new")
    assert path.read_bytes() == b"new"
    disk.take_back(path)
    assert path.read_bytes() == b"old"


# -- a program that does not let go (Windows, imitated) --------------------------------------------------------------


def held_open(*_: object) -> None:
    error = PermissionError(13, "The process cannot access the file")
    error.winerror = 32  # type: ignore[attr-defined]
    raise error


def test_a_file_held_open_for_a_moment_is_tried_again(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    replace, tries, pauses = os.replace, [], []

    def later(one: Path, other: Path) -> None:
        tries.append(1)
        if len(tries) < 3:
            held_open()
        replace(one, other)

    monkeypatch.setattr(os, "replace", later)
    monkeypatch.setattr(time, "sleep", pauses.append)
    save(book, b"new")
    assert book.read_bytes() == b"new" and pauses == [0.05, 0.1]


def test_a_file_held_open_for_good_gets_a_copy_beside(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pauses: list[float] = []
    monkeypatch.setattr(os, "replace", held_open)
    monkeypatch.setattr(time, "sleep", pauses.append)
    with pytest.raises(WorkbookBusy, match=r"stands beside it as h-pending\.xlsx"):
        save(book, b"new")
    with pytest.raises(WorkbookBusy, match=r"h-pending-2\.xlsx"):
        save(book, b"newer")
    assert book.read_bytes() == b"old" and 2 <= sum(pauses) / 2 <= 5
    assert book.with_name("h-pending.xlsx").read_bytes() == b"new"
    assert sorted(os.listdir(book.parent)) == ["h-pending-2.xlsx", "h-pending.xlsx", "h.xlsx"]


# -- second versions ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "age", "told"),
    [
        ("h (conflicted copy 2026-11-24).xlsx", 99, True),
        ("h (Ada's conflicted copy 2026-11-24).xlsx", 99, True),
        ("h-conflict-20261124-110304.xlsx", 99, True),
        ("h.sync-conflict-20261124-110304-ABCDEFG.xlsx", 99, True),
        ("H_CONFLICT.XLSX", 99, True),
        ("h (Konflikt).xlsx", 99, True),
        ("h (1).xlsx", -60, True),
        ("h (1).xlsx", 60, False),
        ("h - Copy.xlsx", -60, True),
        ("h.xlsx", 0, False),
        ("h 2026.xlsx", -60, False),
        ("h (conflicted copy).txt", -60, False),
        ("other (conflicted copy).xlsx", -60, False),
    ],
)
def test_second_versions_are_noticed(book: Path, name: str, age: int, told: bool) -> None:
    if name != book.name:
        book.with_name(name).write_bytes(b"x")
        moment = book.stat().st_mtime - age
        os.utime(book.with_name(name), (moment, moment))
    found = disk.conflict_copies(book)
    assert [(f.level, f.check, name in f.sentence) for f in found] == [("warn", "conflict-copy", True)] * told


def test_pricing_tells_of_a_second_version_and_does_not_write_it_down(tmp_path: Path) -> None:
    path = Path(shutil.copyfile(BLANK, tmp_path / "h.xlsx"))
    shutil.copyfile(BLANK, tmp_path / "h (conflicted copy 2026-11-24).xlsx")
    outcome = commands.price(path)
    assert [f.check for f in outcome.findings].count("conflict-copy") == 1
    again = commands.price(path)
    assert not again.written and again.findings[0].check == "conflict-copy"


# -- full disks and read-only places, through the command ------------------------------------------------------------


def listing(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def one_sentence(said: str, *words: str) -> None:
    lines = [line for line in said.splitlines() if line.strip()]
    assert len(lines) == 1 and lines[0].startswith("costbook: "), said
    assert all(word in said for word in words), said


def priced_by_command(path: Path, before: str = "") -> subprocess.CompletedProcess[str]:
    """The price command in a process of its own, after a line of Python that limits it."""
    code = f"import sys\nfrom costbook import cli\n{before}\nsys.exit(cli.main(['price', {str(path)!r}]))"
    environment = dict(os.environ, PYTHONPATH=str(REPO), PYTHONDONTWRITEBYTECODE="1")
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=False, timeout=120
    )


@posix
@pytest.mark.parametrize("extra", [-1, 1])
def test_a_limit_on_file_sizes(tmp_path: Path, extra: int) -> None:
    """Below the size of the old file its backup fails; just above it the new file does."""
    path = Path(shutil.copyfile(BLANK, tmp_path / "h.xlsx"))
    before = (listing(tmp_path), path.stat().st_mtime_ns)
    limit = path.stat().st_size + extra
    done = priced_by_command(path, f"import resource\nresource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))")
    assert done.returncode == 4, done
    one_sentence(done.stderr, "h.xlsx cannot be saved: File too large", "The workbook is as it was.")
    assert (listing(tmp_path), path.stat().st_mtime_ns) == before and os.listdir(tmp_path) == ["h.xlsx"]
    assert priced_by_command(path).returncode in (0, 1), "with room it is saved"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, mounted where that is allowed."""
    size = 2 * BLANK.stat().st_size + 16_384
    folder = tmp_path / "small"
    folder.mkdir()
    library = ctypes.CDLL(None, use_errno=True)
    if not hasattr(library, "mount") or library.mount(
        b"none", os.fsencode(folder), b"tmpfs", 0, f"size={size}".encode()
    ):
        pytest.skip(f"a small disk may not be mounted here: {os.strerror(ctypes.get_errno())}")
    try:
        yield folder
    finally:
        library.umount2(os.fsencode(folder), 2)


@posix
@pytest.mark.parametrize("free_pages", [0, 1, 3, None])
def test_a_full_disk(small_disk: Path, free_pages: int | None) -> None:
    """No room for anything, for the lock, for a part of the backup, and for the backup but not the new file."""
    path = Path(shutil.copyfile(BLANK, small_disk / "h.xlsx"))
    if free_pages is not None:
        room = os.statvfs(small_disk)
        (small_disk / "filler").write_bytes(b"x" * (room.f_bavail - free_pages) * room.f_frsize)
    before = (listing(small_disk), path.stat().st_mtime_ns)
    done = priced_by_command(path)
    assert done.returncode == 4, done
    one_sentence(done.stderr, "h.xlsx cannot be saved: No space left on device", "Make room")
    assert (listing(small_disk), path.stat().st_mtime_ns) == before
    assert not (small_disk / "costbook-backups").exists()


@posix
def test_a_read_only_disk(small_disk: Path) -> None:
    path = Path(shutil.copyfile(BLANK, small_disk / "h.xlsx"))
    library = ctypes.CDLL(None, use_errno=True)
    read_only, remount = 1, 32
    if library.mount(b"none", os.fsencode(small_disk), b"tmpfs", read_only | remount, None):
        pytest.skip(f"the disk may not be mounted anew: {os.strerror(ctypes.get_errno())}")
    before = listing(small_disk)
    done = priced_by_command(path)
    assert done.returncode == 4, done
    one_sentence(done.stderr, "h.xlsx is read-only")
    assert listing(small_disk) == before


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that any user may enter, unlike the folders of tests."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


def taken_back_as_nobody(path: Path) -> tuple[int, str]:
    """Exit code and words of the take-back command run by a user without rights, in a process forked from this one."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if os.getuid() == 0:
                os.setgid(NOBODY)
                os.setuid(NOBODY)
            sys.stderr = os.fdopen(writing, "w")
            code = cli.main(["takeback", str(path)])
            sys.stderr.flush()
        except BaseException:
            code = 99
        os._exit(code)
    os.close(writing)
    with os.fdopen(reading) as said:
        words = said.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), words


@posix
@pytest.mark.parametrize(("what", "words"), [("file", "is read-only"), ("folder", "writing is not allowed there")])
def test_a_read_only_file_and_folder(open_folder: Path, what: str, words: str) -> None:
    path = open_folder / "h.xlsx"
    path.write_bytes(b"old")
    path.chmod(0o666)
    save(path, b"new")
    for folder in (open_folder, open_folder / "costbook-backups"):
        folder.chmod(0o777)
    (path if what == "file" else open_folder).chmod(0o444 if what == "file" else 0o555)
    before = (listing(open_folder), path.stat().st_mtime_ns)
    code, said = taken_back_as_nobody(path)
    assert code == 4
    one_sentence(said, words)
    assert (listing(open_folder), path.stat().st_mtime_ns) == before
    path.chmod(0o666)
    open_folder.chmod(0o777)
    assert taken_back_as_nobody(path)[0] == 0 and path.read_bytes() == b"old", "with the rights it is done"


def test_a_full_disk_at_take_back_is_a_sentence(
    book: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    save(book, b"new")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert cli.main(["takeback", str(book)]) == WriteRefused.exit_code
    one_sentence(capsys.readouterr().err, "No space left")
    assert book.read_bytes() == b"new"


# -- text files -----------------------------------------------------------------------------------------------------


def test_the_only_csv_the_program_writes_is_its_own_invented_one() -> None:
    """So no text of a supplier can become a formula in one. A new writer must guard its text and be named here."""
    writers = set()
    for path in sorted((REPO / "costbook").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and node.attr in ("writer", "DictWriter", "to_csv"):
                writers.add(path.relative_to(REPO / "costbook").as_posix())
    assert writers == {"demo/papers.py"}
