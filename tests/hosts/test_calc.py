"""The open workbook in a live Calc: one undo step, what is hers respected, and ends at bad moments."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from costbook import cli, commands, serving
from costbook.book.grid import Cell, Edits, Formula, Look, PutTab, SetCell
from costbook.errors import HostUnavailable, WorkbookBusy, WorkbookChanged, WriteRefused
from costbook.hosts.calc import CalcDocument, Plain
from costbook.hosts.headless import Office

pytestmark = pytest.mark.office


@pytest.fixture
def book(posted: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(posted, tmp_path / "book.xlsx"))


def opened(office: Office, book: Path) -> CalcDocument:
    assert "refused" not in office.ask({"ask": "open", "url": book.as_uri()})
    return CalcDocument(office.ask, book)


@pytest.fixture
def open_book(office: Office, book: Path) -> Iterator[CalcDocument]:
    yield opened(office, book)
    office.ask({"ask": "shut"})


def cells(office: Office, *tabs: str, rows: int = 12, columns: int = 22) -> list[Plain]:
    """Every cell of these tabs, read one by one."""
    found = [office.ask({"ask": "cells", "tab": tab, "rows": rows, "columns": columns}) for tab in tabs]
    # The office names a chart anew when it brings one back: how many there are is what counts.
    return [tab | {"charts": len(tab["charts"])} for tab in found]


# ------------------------------------------------------------------ one step


def test_one_undo_takes_all_of_it_back_and_redo_brings_it_again(office: Office, open_book: CalcDocument) -> None:
    tabs = office.ask({"ask": "tabs"})
    start = cells(office, "Start", "Products")
    commands.price(open_book)
    after = cells(office, "Start", "Costs", "Prices", "Findings")
    assert office.ask({"ask": "titles"})["undo"] == ["costbook"]
    for _ in range(2):
        office.ask({"ask": "undo"})
        assert office.ask({"ask": "tabs"}) == tabs and cells(office, "Start", "Products") == start
        office.ask({"ask": "redo"})
        again = cells(office, "Start", "Costs", "Prices", "Findings")
        # The office sizes rows anew for their text when it brings a tab back.
        assert [tab | {"heights": 0} for tab in again] == [tab | {"heights": 0} for tab in after]


def test_a_second_run_is_taken_back_to_the_first_cell_by_cell(office: Office, open_book: CalcDocument) -> None:
    """Cells that were empty, or held a formula, a rule, a note or a look, are as they were; so are cells not of ours."""
    commands.price(open_book)
    office.ask({"ask": "type", "tab": "Prices", "row": 3, "column": 21, "text": "=1+1"})
    office.ask({"ask": "type", "tab": "Products", "row": 3, "column": 0, "text": ""})
    office.ask({"ask": "widen", "tab": "Prices"})
    before = cells(office, "Start", "Costs", "Prices", "Findings", "Cost trace")
    assert commands.price(open_book).written
    assert cells(office, "Costs") != before[1:2]
    office.ask({"ask": "undo"})
    assert cells(office, "Start", "Costs", "Prices", "Findings", "Cost trace") == before


def test_rows_she_filtered_away_are_shown_and_filled(office: Office, open_book: CalcDocument) -> None:
    commands.price(open_book)
    wanted = open_book.snapshot().grids["Prices"]
    office.ask({"ask": "filter", "tab": "Prices", "rows": len(wanted.rows), "word": "no product is called that"})
    assert len(open_book.snapshot().grids["Prices"].hidden_rows) > 10
    office.ask({"ask": "type", "tab": "Prices", "row": 3, "column": 1, "text": "hers"})
    assert commands.price(open_book).written
    again = open_book.snapshot().grids["Prices"]
    assert not again.hidden_rows and again.same_values(wanted) and again.formulas == wanted.formulas
    assert len({row for row, _ in again.formulas}) > 10


def test_a_write_that_breaks_off_leaves_nothing(own_office: Office, book: Path) -> None:
    document = opened(own_office, book)
    tabs, start = own_office.ask({"ask": "tabs"}), cells(own_office, "Start")
    own_office.ask({"ask": "fail_at", "step": "_page"})
    with pytest.raises(WriteRefused, match="the office program refused it"):
        commands.price(document)
    assert own_office.ask({"ask": "tabs"}) == tabs and cells(own_office, "Start") == start


def test_her_last_step_is_not_undone_where_nothing_was_begun(own_office: Office, book: Path) -> None:
    document = opened(own_office, book)
    own_office.ask({"ask": "type", "tab": "Start", "row": 60, "column": 0, "text": "hers"})
    own_office.ask({"ask": "fail_at", "step": "_style"})
    with pytest.raises(WriteRefused):
        commands.price(document)
    assert document.snapshot().grids["Start"].value(60, 0) == "hers"


# ------------------------------------------------------------------ what is hers


def test_rules_looks_and_protection_of_her_cells_stay(office: Office, open_book: CalcDocument) -> None:
    (before,) = cells(office, "Products")
    snapshot = open_book.snapshot()
    place = (3, 1)
    edit = SetCell("Products", *place, "Another name", "her text", snapshot.grids["Products"].value(*place))
    assert open_book.apply(Edits((edit,)))
    (after,) = cells(office, "Products")
    index = place[0] * 22 + place[1]
    assert after["cells"][index][:2] == ["TEXT", "Another name"] and after["cells"][index][2:] == before["cells"][index][2:]
    del before["cells"][index], after["cells"][index]
    assert after == before


def test_a_tab_she_protected_is_refused_and_others_still_get_their_looks(office: Office, open_book: CalcDocument) -> None:
    office.ask({"ask": "protect", "tab": "Start"})
    open_book.snapshot()
    with pytest.raises(WriteRefused, match=r"Start.*the tab is protected"):
        open_book.apply(Edits((SetCell("Start", 60, 0, 1.0, "her number", None),)))
    assert open_book.apply(Edits(tabs=(PutTab("Ours", ((Cell("x", "tool heading"),),), Look()),)))
    (made,) = cells(office, "Ours", rows=1, columns=1)
    assert made["cells"][0][4] == 0xE9E4D8


def test_findings_lead_to_their_cells(office: Office, open_book: CalcDocument) -> None:
    outcome = commands.price(open_book)
    links = office.ask({"ask": "link", "tab": "Findings", "rows": 60, "column": 2})["links"]
    placed = [f.where for f in outcome.findings if f.where and f.where.cell]
    assert len(links) >= len(placed) > 5
    assert {f"#'{where.tab}'.{where.cell}" for where in placed} <= set(links.values())


def test_text_is_never_taken_for_a_formula(office: Office, open_book: CalcDocument) -> None:
    open_book.snapshot()
    texts = ("=A1", "'quoted", "+1", "1/2", "2026-01-02", "TRUE", "1e5")
    tab = PutTab("Ours", tuple((Cell(t, "tool text"), Cell(t)) for t in texts))
    edits = tuple(SetCell("Start", 60 + i, 0, text, "her text", None) for i, text in enumerate(texts))
    assert open_book.apply(Edits(edits, (tab,)))
    after = open_book.snapshot()
    assert after.grids["Ours"].rows == tuple((t, t) for t in texts)
    assert [after.grids["Start"].value(60 + i, 0) for i in range(len(texts))] == list(texts)
    assert not after.grids["Ours"].formulas


# ------------------------------------------------------------------ the engine over a pipe


class Engine:
    """The engine as the extension starts it, with a stand-in for the extension that asks a live Calc."""

    def __init__(self) -> None:
        self.process = subprocess.Popen([sys.executable, "-m", "costbook.serving"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def pressed(self, office: Office, action: str, book: Path, on_ask: Any = None, **more: object) -> tuple[Plain | None, list[str]]:
        """What was told in the end, None where the engine ended before; and the words of progress."""
        assert self.process.stdin and self.process.stdout
        words: list[str] = []
        self._send({"do": action, "path": str(book), **more})
        for line in self.process.stdout:
            message = json.loads(line)
            if "say" in message:
                words.append(message["say"])
            elif "told" in message:
                return message["told"], words
            else:
                if on_ask:
                    on_ask(message)
                try:
                    self._send(office.ask(message))
                except HostUnavailable as error:
                    self._send({"refused": {"kind": "HostUnavailable", "sentence": error.sentence, "where": ["", ""], "do": error.do}})
        return None, words

    def _send(self, message: Plain) -> None:
        assert self.process.stdin
        try:
            self.process.stdin.write(json.dumps(message) + "\n")
            self.process.stdin.flush()
        except BrokenPipeError:
            return

    def end(self) -> None:
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe:
                pipe.close()


@pytest.fixture
def engine() -> Iterator[Engine]:
    made = Engine()
    yield made
    made.end()


def test_every_button_says_what_came_of_it(office: Office, open_book: CalcDocument, book: Path, engine: Engine) -> None:
    told, words = engine.pressed(office, "price", book)
    assert told and told["level"] == "done" and told["sentence"].startswith("14 of 14 products priced, ") and told["findings"]
    assert words == ["reading book.xlsx", "working out costs and prices", "writing"]
    told, _ = engine.pressed(office, "price", book)
    assert told and told["level"] == "same" and told["sentence"].startswith("Nothing changed")
    told, _ = engine.pressed(office, "changed", book)
    assert told and told["level"] == "done" and "a year at present sales" in told["sentence"]
    told, _ = engine.pressed(office, "next", book)
    assert told and told["sentence"].startswith("First: ")
    told, _ = engine.pressed(office, "post", book, papers=[])
    assert told and told["sentence"] == "There was no paper to post."
    told, _ = engine.pressed(office, "post", book, papers=[str(book.with_name("none.csv"))])
    assert told and told["level"] == "failed" and "there is no file" in told["sentence"]


def test_an_edit_of_hers_while_it_works_is_kept(office: Office, open_book: CalcDocument, book: Path, engine: Engine) -> None:
    def edit(message: Plain) -> None:
        if message["ask"] == "apply":
            office.ask({"ask": "type", "tab": "Start", "row": 60, "column": 0, "text": "hers"})

    told, _ = engine.pressed(office, "price", book, edit)
    assert told and told["level"] == "failed"
    assert told["sentence"] == "you changed the workbook while the tool worked; nothing was written. Press the button again."
    after = open_book.snapshot()
    assert "Costs" not in after.grids and after.grids["Start"].value(60, 0) == "hers"
    told, _ = engine.pressed(office, "price", book)
    assert told and told["level"] == "done"


def test_a_formula_of_the_clock_is_no_edit_of_hers(office: Office, open_book: CalcDocument, book: Path, engine: Engine) -> None:
    for row, text in ((60, "=NOW()"), (61, "=RAND()")):
        office.ask({"ask": "type", "tab": "Start", "row": row, "column": 0, "text": text})

    def recalculate(message: Plain) -> None:
        if message["ask"] == "apply":
            office.ask({"ask": "recalculate"})

    told, _ = engine.pressed(office, "price", book, recalculate)
    assert told and told["level"] == "done"


def test_a_protected_structure_is_a_sentence(office: Office, open_book: CalcDocument, book: Path, engine: Engine) -> None:
    office.ask({"ask": "protect", "tab": ""})
    start = open_book.snapshot()
    told, _ = engine.pressed(office, "price", book)
    assert told and told["level"] == "failed" and "structure is protected" in told["sentence"]
    assert open_book.snapshot() == start


# ------------------------------------------------------------------ ends at bad moments


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_office_killed_while_it_writes(own_office: Office, book: Path, engine: Engine) -> None:
    before = digest(book)
    opened(own_office, book)

    def kill(message: Plain) -> None:
        if message["ask"] == "apply":
            threading.Timer(0.3, lambda: os.killpg(own_office.office.pid, signal.SIGKILL)).start()

    told, _ = engine.pressed(own_office, "price", book, kill)
    assert told and told["level"] == "failed" and "office program" in told["sentence"], told
    assert digest(book) == before, "the file on disk is as it was last saved"


def test_the_document_closed_while_it_works(office: Office, book: Path, engine: Engine) -> None:
    before = digest(book)
    opened(office, book)
    told, _ = engine.pressed(office, "price", book, lambda m: office.ask({"ask": "shut"}) if m["ask"] == "apply" else None)
    assert told and told["level"] == "failed" and "the workbook was closed meanwhile; nothing was written" in told["sentence"]
    assert digest(book) == before


def test_the_engine_killed_while_it_works(office: Office, open_book: CalcDocument, book: Path, engine: Engine) -> None:
    start = open_book.snapshot()
    told, _ = engine.pressed(office, "price", book, lambda m: engine.process.kill())
    assert told is None
    assert open_book.snapshot() == start


def test_the_engine_ends_with_its_input() -> None:
    done = subprocess.run([sys.executable, "-m", "costbook.serving"], input="", capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_an_office_gone_in_the_middle_ends_the_run() -> None:
    said: list[str] = []
    serving.serve(iter([json.dumps({"do": "price", "path": "book.xlsx"})]), said.append)
    assert json.loads(said[-1])["told"] == {"level": "failed", "sentence": "the office program has ended."}


# ------------------------------------------------------------------ .ods from the command line


@pytest.fixture
def ods(office: Office, book: Path) -> Path:
    made = book.with_suffix(".ods")
    opened(office, book)
    assert "refused" not in office.ask({"ask": "store", "url": made.as_uri()})
    office.ask({"ask": "shut"})
    return made


def test_an_ods_book_is_priced_from_the_command_line(ods: Path, book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = ods.read_bytes()
    assert cli.main(["price", str(ods)]) == 0
    assert "book.ods: written." in capsys.readouterr().out
    figures = commands.price(ods).figures()
    commands.price(book)
    assert figures == commands.price(book).figures()
    saved = ods.read_bytes()
    assert cli.main(["price", str(ods)]) == 0
    assert ods.read_bytes() == saved, "nothing changed, so nothing is written"
    assert [p.read_bytes() for p in (ods.parent / "costbook-backups").glob("book *.ods")] == [before]
    assert cli.main(["takeback", str(ods)]) == 0
    assert ods.read_bytes() == before


def test_an_ods_book_that_is_open_or_damaged_is_told_and_left(ods: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = ods.read_bytes()
    lock = ods.with_name(f".~lock.{ods.name}#")
    lock.write_text(",her,desk,,file:///x;")
    with pytest.raises(WorkbookBusy, match="is open by her on desk"):
        commands.price(ods)
    lock.unlink()
    assert ods.read_bytes() == before
    ods.write_bytes(b"no workbook at all")
    assert cli.main(["price", str(ods)]) == 4 or "Start" in capsys.readouterr().err
    assert ods.read_bytes() == b"no workbook at all"


def test_an_ods_book_saved_elsewhere_meanwhile_is_not_overwritten(ods: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from costbook.hosts.headless import OfficeFile

    host = OfficeFile(ods)
    host.snapshot()
    ods.write_bytes(ods.read_bytes() + b"\0")
    changed = digest(ods)
    with pytest.raises(WorkbookChanged, match="was changed by another program"):
        host.apply(Edits(tabs=(PutTab("X", ((Cell(Formula("1+1", 2.0)),),)),)))
    host.close()
    assert digest(ods) == changed


def test_buttons_are_put_in_and_taken_out(tmp_path: Path, office: Office, capsys: pytest.CaptureFixture[str]) -> None:
    profile = ["--profile", str(tmp_path / "profile")]
    assert cli.main(["install", *profile]) == 0
    assert cli.main(["doctor", *profile]) == 0
    assert f"ok    the buttons are in the office program and start {sys.executable}" in capsys.readouterr().out
    assert cli.main(["install", "--remove", *profile]) == 0
    assert cli.main(["doctor", *profile]) == 1
    assert "FIX   the buttons are not in the office program\n      Close the office program and run: costbook install" in capsys.readouterr().out
    assert cli.main(["install", "--remove", *profile]) == 4
    assert "the buttons are not in the office program" in capsys.readouterr().err
    assert cli.main(["install", "--profile", str(office.profile)]) == 4
    assert "the office program is open. Close all its windows and try again." in capsys.readouterr().err


def test_no_office_is_a_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("costbook.hosts.headless.PROGRAMS", ("no-such-office",))
    path = tmp_path / "book.ods"
    path.write_bytes(b"x")
    assert cli.main(["price", str(path)]) == 4
    assert "no office program was found" in capsys.readouterr().err
    assert cli.main(["install"]) == 4
    assert cli.main(["doctor"]) == 1
    assert "FIX   no office program was found" in capsys.readouterr().out


def test_an_office_that_hangs_is_ended_in_time(ods: Path) -> None:
    from costbook.hosts.headless import OfficeFile

    host = OfficeFile(ods, seconds=20)
    host.snapshot()
    office = host._office
    assert office is not None
    os.killpg(office.office.pid, signal.SIGSTOP)
    office._seconds, begun = 1.0, time.monotonic()
    with pytest.raises(HostUnavailable, match="did not answer within 1 seconds"):
        host.apply(Edits(tabs=(PutTab("X", ((Cell("x"),),)),)))
    os.killpg(office.office.pid, signal.SIGCONT)
    host.close()
    assert time.monotonic() - begun < 30 and office.office.poll() is not None
