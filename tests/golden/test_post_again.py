"""Posting papers again, changed papers, papers that cannot be read, and what the command line says and returns.

Exit codes as the command line's own text states them: 0 done; 1 done, something keeps a product from a price or a paper
from being posted; 2 not understood; 3 the book cannot be read; 4 the file stands in the way.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from costbook import cli, commands
from costbook.costing.checks import Priced
from costbook.errors import Finding

Copy = Any
NUMBERS = ("B-0977", "B-1041", "C-0388", "C-0391", "S-2207")
Said = tuple[int, str, str]


@pytest.fixture
def drawer(papers: Path, tmp_path: Path) -> Path:
    """A copy of the demo's folder of papers."""
    return Path(shutil.copytree(papers, tmp_path / "drawer"))


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Runs the command line; returns exit code, what it printed, and what it complained of."""

    def command(*words: object) -> Said:
        code = cli.main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return code, out, err

    return command


def purchases(book: Copy) -> list[tuple[Any, ...]]:
    stored = openpyxl.load_workbook(book.path)
    return [row for row in stored["Purchases"].iter_rows(values_only=True) if any(row)]


def without_paper(book: Copy, number: str) -> int:
    """How many rows of a paper were taken out of Purchases."""
    sheet, taken = book.workbook["Purchases"], 0
    for row in range(sheet.max_row, 3, -1):
        if any(cell.value == number for cell in sheet[row]):
            sheet.delete_rows(row)
            taken += 1
    book.save()
    return taken


# ------------------------------------------------------------ papers


def test_the_same_papers_again_change_nothing(book: Copy, drawer: Path) -> None:
    before = book.path.read_bytes(), book.path.stat().st_mtime_ns
    for asked in ([drawer], sorted(drawer.iterdir())):
        posted = commands.post(book.path, asked)
        assert {p.paper: p.state for p in posted} == dict.fromkeys(NUMBERS, "already there")
        assert all("Purchases!" in p.why for p in posted)
        assert (book.path.read_bytes(), book.path.stat().st_mtime_ns) == before


def test_a_paper_under_another_file_name_is_the_same_paper(book: Copy, drawer: Path) -> None:
    (drawer / "Brackwell_B-1041.csv").rename(drawer / "invoice (2).csv")
    assert {p.paper: p.state for p in commands.post(book.path, [drawer])}["B-1041"] == "already there"


def test_twice_in_one_folder_is_posted_once(book: Copy, drawer: Path) -> None:
    rows = without_paper(book, "S-2207")
    shutil.copyfile(drawer / "Sallowby_S-2207.xlsx", drawer / "Sallowby_again.xlsx")
    posted = [p for p in commands.post(book.path, [drawer]) if p.paper == "S-2207"]
    assert sorted(p.state for p in posted) == ["already there", "posted"]
    assert sum("S-2207" in row for row in purchases(book)) == rows == 14


def sorted_by_month(drawer: Path) -> Path:
    """The same papers in folders of their months and suppliers, one left where it was."""
    for name, folder in (("Brackwell_B-1041.csv", "2026-09/Brackwell"), ("Brackwell_B-0977.csv", "2026-08"), ("Sallowby_S-2207.xlsx", "2026-09")):
        (drawer / folder).mkdir(parents=True, exist_ok=True)
        (drawer / name).rename(drawer / folder / name)
    return drawer


def test_papers_in_folders_of_a_folder_are_posted_and_named_with_them(book: Copy, drawer: Path, run: Callable[..., Said]) -> None:
    without_paper(book, "S-2207")
    code, out, _ = run("post", book.path, sorted_by_month(drawer))
    told = {words[0]: words[3] for words in map(str.split, out.splitlines()[1:6])}
    assert code == 0 and list(told)[:3] == ["2026-08/Brackwell_B-0977.csv", "2026-09/Brackwell/Brackwell_B-1041.csv", "2026-09/Sallowby_S-2207.xlsx"]
    assert list(told.values()) == ["already", "already", "posted", "already", "already"]
    assert sum("2026-09/Sallowby_S-2207.xlsx, Invoice row 7" in str(row) for row in purchases(book)) == 1
    assert {p.state for p in commands.post(book.path, [drawer])} == {"already there"}


def test_hidden_folders_and_kept_states_are_not_read(book: Copy, drawer: Path) -> None:
    for folder in (".old", "costbook-backups", "2026-09/.sync", "2026-09/costbook-backups"):
        (drawer / folder).mkdir(parents=True)
        shutil.copyfile(drawer / "Brackwell_B-1041.csv", drawer / folder / "copy.csv")
    shutil.copyfile(drawer / "Brackwell_B-1041.csv", drawer / "2026-09" / "~$copy.csv")
    shutil.copyfile(book.path, drawer / "2026-09" / "workshop.xlsx")
    inside = drawer / "2026-09" / "workshop.xlsx"
    assert len(commands.post(inside, [drawer])) == len(NUMBERS), "the book itself is no paper of it"


def test_a_folder_that_leads_back_and_a_folder_named_twice_are_read_once(book: Copy, drawer: Path) -> None:
    sorted_by_month(drawer)
    (drawer / "2026-08" / "all").symlink_to(drawer, target_is_directory=True)
    (drawer / "2026-08" / "round").symlink_to("round")
    posted = commands.post(book.path, [drawer, drawer / "2026-09", drawer / "2026-08" / "Brackwell_B-0977.csv"])
    assert sorted(p.paper for p in posted) == sorted(NUMBERS)


def test_two_files_of_one_name_are_told_apart_by_their_paths(book: Copy, drawer: Path) -> None:
    folders = [drawer.parent / "east", drawer.parent / "west"]
    for folder, name in zip(folders, ("Brackwell_B-1041.csv", "Brackwell_B-0977.csv")):
        folder.mkdir()
        shutil.copyfile(drawer / name, folder / "scan.csv")
    assert [(p.file, p.paper) for p in commands.post(book.path, folders)] == [
        ((folders[0] / "scan.csv").as_posix(), "B-1041"), ((folders[1] / "scan.csv").as_posix(), "B-0977")]  # fmt: skip


def test_a_folder_too_large_or_shut_is_one_sentence(book: Copy, drawer: Path, run: Callable[..., Said], monkeypatch: pytest.MonkeyPatch) -> None:
    before = book.path.read_bytes()
    monkeypatch.setattr("costbook.papers.MOST_FILES", 8)
    assert run("post", book.path, drawer)[0] == 0
    for month in range(1, 4):
        (drawer / f"2026-{month:02}").mkdir()
    code, out, err = run("post", book.path, drawer)
    assert code == 4 and out == "" and "more than 8 files" in err and err.count("\n") == 1

    def shut(folder: Path) -> object:
        raise PermissionError(13, "Permission denied", str(folder))

    monkeypatch.setattr(Path, "iterdir", shut)
    code, out, err = run("post", book.path, drawer)
    assert code == 4 and out == "" and "drawer cannot be read (Permission denied)" in err and err.count("\n") == 1
    assert book.path.read_bytes() == before


def test_posting_does_not_raise_what_is_on_hand(book: Copy, drawer: Path) -> None:
    def on_hand() -> list[Any]:
        return [(row["Code"], row["On hand"]) for row in book.written("Materials")[0]]

    without_paper(book, "S-2207")
    before = on_hand()
    assert "posted" in {p.state for p in commands.post(book.path, [drawer])}
    assert on_hand() == before and any(count for _, count in before)


def test_a_paper_posted_anew_gives_the_same_figures(book: Copy, drawer: Path, clean: tuple[Priced, Any]) -> None:
    """Taken out, a paper's products have no price; posted again they cost what they did."""
    without_paper(book, "C-0388")
    assert not commands.price(book.path).priced.costs
    assert {p.state for p in commands.post(book.path, [drawer]) if p.paper == "C-0388"} == {"posted"}
    costs = commands.price(book.path).priced.costs
    assert {c: round(x.unit_cost, 9) for c, x in costs.items()} == {
        c: round(x.unit_cost, 9) for c, x in clean[0].costs.items()
    }


def changed(drawer: Path) -> Path:
    """The larger paper with another price for cocoa butter, its lines still adding up to its total."""
    path = drawer / "Brackwell_B-1041.csv"
    text = path.read_text(encoding="utf-8")
    assert text.count("23.60,141.60") == 1 and text.count("1268.00") == 1
    path.write_text(text.replace("23.60,141.60", "24.60,147.60").replace("1268.00", "1274.00"), encoding="utf-8")
    return path


def test_a_changed_paper_of_the_same_number_waits_for_her_look(book: Copy, drawer: Path) -> None:
    rows = purchases(book)
    (posted,) = commands.post(book.path, [changed(drawer)])
    assert posted.state == "to review" and "B-1041" in posted.why and "other content" in posted.why
    assert "Purchases!" in posted.why
    assert purchases(book) == rows
    (review,) = book.written("Invoice review")
    assert len(review) > 20 and {(r["Paper"], r["Why not posted"]) for r in review} == {("B-1041", posted.why)}
    again = book.path.read_bytes()
    assert [p.state for p in commands.post(book.path, [drawer / "Brackwell_B-1041.csv"])] == ["to review"]
    assert book.path.read_bytes() == again


BAD_FILES: dict[str, tuple[bytes, str]] = {
    "torn.xml": (b"<Invoice><cbc:ID>X-1", "torn.xml"),
    "scan.pdf": (b"%PDF-1.4 not read", "PDF"),
    "empty.csv": (b"", "empty.csv"),
    "letter.csv": ("Dear customer;our prices rise\r\n".encode("cp1252"), "letter.csv"),
    "broken.xlsx": (b"PK\x03\x04 not a workbook", "broken.xlsx"),
    "notes.docx": (b"whatever", "notes.docx"),
}


def test_bad_files_are_told_and_the_others_posted(book: Copy, drawer: Path) -> None:
    without_paper(book, "S-2207")
    for name, (data, _) in BAD_FILES.items():
        (drawer / name).write_bytes(data)
    posted = {p.file: p for p in commands.post(book.path, [drawer])}
    assert posted["Sallowby_S-2207.xlsx"].state == "posted" and len(posted) == len(BAD_FILES) + len(NUMBERS)
    for name, (_, word) in BAD_FILES.items():
        told = posted[name]
        assert told.state == "refused" and word in f"{told.file} {told.why}", told
        assert told.why.strip() and "\n" not in told.why and "Error" not in told.why and len(told.why) < 300, told
    assert sum("S-2207" in row for row in purchases(book)) == 14


def test_a_paper_that_does_not_add_up_is_not_posted(book: Copy, drawer: Path) -> None:
    without_paper(book, "B-1041")
    path = drawer / "Brackwell_B-1041.csv"
    text = path.read_text(encoding="utf-8")
    assert text.count("23.60,141.60") == 1
    path.write_text(text.replace("23.60,141.60", "23.60,151.60"), encoding="utf-8")
    (posted,) = commands.post(book.path, [path])
    assert posted.state == "to review" and ("10.00" in posted.why or "151.60" in posted.why), posted
    assert not any("B-1041" in row for row in purchases(book))


# ------------------------------------------------------------ the command line


def test_a_clean_run_returns_0_and_lists_every_product(book: Copy, run: Callable[..., Said]) -> None:
    code, out, err = run("price", book.path)
    assert code == 0 and err == ""
    assert all(f"P{i:02} " in out for i in range(1, 15)) and "4.95" in out and "file left as it is" in out


def test_a_run_with_a_stop_returns_1(book: Copy, run: Callable[..., Said]) -> None:
    book.type("Products", "Colour", "P02", "Blu mica")
    code, out, _ = run("price", book.save())
    assert code == 1 and "no price" in out and "Blue mica" in out


def test_figures_as_json(book: Copy, run: Callable[..., Said], clean: tuple[Priced, list[Finding]]) -> None:
    code, out, err = run("price", book.path, "--json")
    figures = json.loads(out)
    assert code == 0 and err == ""
    told = {p["code"]: p["unit_cost"] for p in figures["products"]}
    assert told == {c: x.unit_cost for c, x in clean[0].costs.items()}
    assert [f["sentence"] for f in figures["findings"]] == [f.sentence for f in clean[1]]


def test_an_explanation_adds_up(book: Copy, run: Callable[..., Said], clean: tuple[Priced, Any]) -> None:
    code, out, _ = run("explain", book.path, "P01", "--json")
    tree = json.loads(out)
    assert code == 0 and abs(tree["cost"] - clean[0].costs["P01"].unit_cost) < 1e-9
    assert abs(sum(part["cost"] for part in tree["inside"]) - tree["cost"]) < 1e-9
    code, out, _ = run("explain", book.path, "Harbour Melt Tin - Salt Mist")
    assert code == 0 and "B-1041" in out and "4.95" in out


def test_posting_returns_0_or_1(book: Copy, drawer: Path, run: Callable[..., Said]) -> None:
    code, out, _ = run("post", book.path, drawer)
    assert code == 0 and out.count("already there") == len(NUMBERS)
    code, out, _ = run("post", book.path, changed(drawer))
    assert code == 1 and "to review" in out


def test_a_workbook_of_costs_is_no_paper(book: Copy, tmp_path: Path, run: Callable[..., Said]) -> None:
    raw = book.path.read_bytes()
    folder = tmp_path / "papers of mine"
    folder.mkdir()
    assert cli.main(["blank", str(folder / "second.xlsx")]) == 0
    code, out, _ = run("post", book.path, folder)
    assert code == 1 and "refused: second.xlsx is a workbook of costs" in out and book.path.read_bytes() == raw


@pytest.mark.parametrize("words", [["prise", "x.xlsx"], ["price"], ["post"], ["explain", "x.xlsx"]])
def test_what_is_not_understood_returns_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        cli.main(words)
    assert stop.value.code == 2 and "usage: costbook" in capsys.readouterr().err


def test_a_book_that_cannot_be_read_returns_3(book: Copy, run: Callable[..., Said]) -> None:
    book.put(book.heading("Purchases", "Amount"), "Sum")
    code, out, err = run("price", book.save())
    assert code == 3 and out == "" and "Purchases" in err and "'Amount'" in err and err.count("\n") == 1


def test_an_unknown_product_returns_3_and_offers_the_nearest(book: Copy, run: Callable[..., Said]) -> None:
    code, _, err = run("explain", book.path, "Harbor Melt Tin - Salt Mist")
    assert code == 3 and "nearest: P01 Harbour Melt Tin - Salt Mist" in err and err.count("\n") == 1
    code, _, err = run("explain", book.path, "foam")
    assert code == 3 and 'no product "foam"; nearest: P06 Foam Stone - Salt Mist, P07 Foam Stone - Sweet Orange. ' in err
    code, _, err = run("explain", book.path, " ")
    assert code == 3 and "no product is named" in err and "nearest" not in err


def test_a_product_without_a_price_returns_3_and_says_why(book: Copy, run: Callable[..., Said]) -> None:
    book.type("Products", "Colour", "P02", "Blu mica")
    code, _, err = run("explain", book.save(), "P02")
    assert code == 3 and "Blu mica" in err and "Products!" in err


def test_a_file_in_the_way_returns_4(book: Copy, run: Callable[..., Said], tmp_path: Path) -> None:
    noise = tmp_path / "noise.xlsx"
    noise.write_bytes(b"this is no workbook")
    for path in (tmp_path / "nowhere.xlsx", noise):
        for words in (("price", path), ("explain", path, "P01"), ("post", path, tmp_path)):
            code, out, err = run(*words)
            assert code == 4 and out == "" and path.name in err and err.count("\n") == 1, words
    assert noise.read_bytes() == b"this is no workbook"
    code, _, err = run("post", book.path, tmp_path / "no drawer")
    assert code == 4 and "no drawer" in err


def test_nothing_that_is_there_is_overwritten(book: Copy, run: Callable[..., Said]) -> None:
    before = book.path.read_bytes()
    for words in (("blank", book.path), ("demo", book.path.parent)):
        code, _, err = run(*words)
        assert code == 4 and book.path.name in err and err.count("\n") == 1
    assert book.path.read_bytes() == before


def test_a_blank_book_is_made_and_priced(run: Callable[..., Said], tmp_path: Path) -> None:
    path = tmp_path / "mine.xlsx"
    code, out, err = run("blank", path)
    assert code == 0 and path.is_file() and "mine.xlsx" in out and err == ""
    code, out, _ = run("price", path)
    assert code == 0 and "no price" not in out and "written" in out
