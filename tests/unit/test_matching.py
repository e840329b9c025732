"""Which material a paper's line means: the order of what is certain, and suggestions that never link; the code of a new one.

Books, lines and expected answers are made up here; a suggestion is judged by its words, not by its score.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from records import replace

from costbook.amounts.quantity import read_amount, same_name
from costbook.book.model import Book, Invoice, InvoiceLine, Material, PurchaseLine, Settings
from costbook.book.review import next_code
from costbook.errors import Where
from costbook.invoices.matching import Confirmed, Prepared, described_pack
from costbook.invoices.packs import Pack

HERE = Where("Materials", "B4")
YARD = "Tallow Yard"


def material(code: str, name: str, *, aliases: tuple[str, ...] = (), codes: tuple[str, ...] = ()) -> Material:
    return Material(
        code=code, name=name, kind="other", supplier="", g_per_ml=None, weight_source="", waste_fraction=0.0, rate_rule="",
        quoted_price=None, quoted_pack=None, quoted_from=None, quoted_less=(), usual_pack=None, aliases=aliases,
        cautions="", on_hand=None, where=HERE, supplier_codes=codes,
    )  # fmt: skip


def bought(code: str, item: str, description: str, pack: str = "", supplier: str = YARD, kind: str = "goods") -> PurchaseLine:
    return PurchaseLine(
        supplier=supplier, paper="T-1", paper_type="invoice", date=date(2026, 9, 1), kind=kind, item_code=item,
        description=description, material=code, packs=Decimal(1), pack=read_amount(pack) if pack else None, pack_price=None,
        amount=Decimal(5), shared_by="", covers="", currency="USD", currency_rate=None, lot="", best_before=None, counts=None,
        source="", where=HERE,
    )  # fmt: skip


SHELF = (
    material("M01", "Castor oil"),
    material("M02", "Olive oil", aliases=("Olea",)),
    material("M03", "Rose fragrance", codes=("RF-9",)),
    material("M04", "Cocoa butter"),
    material("M05", "Sea salt, fine"),
    material("M06", "Castor oil, black"),
)


def book(*purchases: PurchaseLine, measures: str = "US customary") -> Book:
    names = {same_name(n): m.code for m in SHELF for n in (m.code, m.name, *m.aliases)} | {same_name("Bath melt"): "R01"}
    return Book(Settings(measures=measures), {}, {m.code: m for m in SHELF}, purchases, {}, {}, {}, (), {}, names)


def line(name: str, item: str = "", buyer: str = "") -> InvoiceLine:
    one = Decimal(1)
    return InvoiceLine("1", "goods", item, name, one, "", one, one, one, "row 2", buyer_code=buyer)


def code(known: Book, wanted: InvoiceLine, supplier: str = YARD) -> str:
    return Confirmed(known).match(wanted, supplier).code


def test_codes_come_first() -> None:
    known = book(bought("M01", "RF-9", "Castor oil"), bought("M01", "X", "whatever"))
    assert code(known, line("Castor oil", item="rf-9")) == "M03"
    assert code(known, line("Castor oil", item="X", buyer="M04")) == "M04"


def test_then_what_purchases_holds_of_the_same_supplier() -> None:
    known = book(bought("M02", "TY-2", "OO extra virgin"), bought("M01", "", "Castor oil, USP"))
    assert code(known, line("something else", item="ty-2")) == "M02"
    assert code(known, line("something else", item="ty-2"), "Another Yard") == ""
    assert code(known, line("CASTOR OIL USP")) == "M01"
    assert code(known, line("castor oil usp"), "Another Yard") == ""
    # The item code is asked before the description, and both before the very name.
    assert code(known, line("Castor oil, USP", item="TY-2")) == "M02"
    assert code(known, line("Castor oil", item="TY-2")) == "M02"
    assert code(known, line("Castor oil, USP", item="TY-9")) == "M01"


def test_a_line_whose_material_is_not_known_there_confirms_nothing() -> None:
    assert code(book(bought("", "TY-2", "Castor oil")), line("Castor oil", item="TY-2")) == "M01"
    assert code(book(bought("M02", "TY-2", "Freight", kind="charge")), line("x", item="TY-2")) == ""


@pytest.mark.parametrize(("item", "words"), [("TY-2", "item code"), ("", "description")])
def test_two_materials_there_mean_unknown(item: str, words: str) -> None:
    known = book(bought("M01", item, "Oil"), bought("M02", item, "Oil"))
    found = Confirmed(known).match(line("Oil", item=item), YARD)
    assert (found.code, found.likely) == ("", "")
    assert found.why == f"Purchases holds two materials under the same {words}: Castor oil and Olive oil"


@pytest.mark.parametrize(("name", "wanted"), [("olea", "M02"), ("Sea  Salt, fine", "M05"), ("Bath melt", ""), ("", "")])
def test_then_the_very_name(name: str, wanted: str) -> None:
    """A recipe's name is no material's."""
    assert code(book(), line(name)) == wanted


@pytest.mark.parametrize(
    ("name", "likely", "words"),
    [
        ("Castor oil, refined", "M01", "looks like Castor oil; same words apart from 'refined'"),
        ("Oil, castor - 5 gal", "M01", "looks like Castor oil; same words"),
        ("Coco butter 2 lb", "M04", "looks like Cocoa butter; 'coco' for 'cocoa'"),
        ("Sea salt", "M05", "looks like Sea salt, fine; not on the paper: 'fine'"),
    ],
)
def test_a_likeness_is_only_suggested_with_its_reason(name: str, likely: str, words: str) -> None:
    found = Confirmed(book()).match(line(name), YARD)
    assert (found.code, found.likely, found.why) == ("", likely, words)


@pytest.mark.parametrize(
    ("paper", "likely", "words"),
    [
        ("Round tin 4oz, silver", "M08", "looks like Round tin 4 oz; same words apart from 'silver'"),
        ("Round tin 2 oz silver", "M07", "looks like Round tin 2 oz; same words apart from 'silver'"),
        ("Round tin 8 oz silver", "M07", "looks like Round tin 2 oz; same words apart from 'silver'; your name says '2oz', the paper '8oz'"),
        ("Round tin, silver", "M07", "looks like Round tin 2 oz; same words apart from 'silver'; your name says '2oz', the paper no size"),
    ],
)
def test_of_names_that_differ_in_size_the_papers_is_suggested_and_another_size_is_told(paper: str, likely: str, words: str) -> None:
    shelf = book()
    for code, name in (("M07", "Round tin 2 oz"), ("M08", "Round tin 4 oz")):
        shelf.materials[code] = material(code, name)
        shelf.names[same_name(name)] = code
    found = Confirmed(shelf).match(line(paper), YARD)
    assert (found.code, found.likely, found.why) == ("", likely, words)


@pytest.mark.parametrize("name", ["Oil", "Castor", "Rosemary powder", "Widget A", "Vanilla fragrance oil", "", "50 lb"])
def test_nothing_is_suggested_where_nothing_is_like(name: str) -> None:
    """Oil may be castor or olive, and castor black or not."""
    found = Confirmed(book()).match(line(name), YARD)
    assert (found.code, found.likely, found.why) == ("", "", "")


def test_a_pack_is_known_by_supplier_and_item_code() -> None:
    known = Confirmed(book(bought("M01", "TY-7", "Castor oil", "5 lb"), bought("M01", "ty-7", "Castor oil", "80 oz wt")))
    assert known.pack(line("x", item="TY-7"), YARD) == (80.0, "oz wt")  # 80 oz are 5 lb: one size
    assert known.pack(line("x", item="TY-7"), "Another Yard") is None
    assert known.pack(line("Castor oil"), YARD) is None


def test_two_packs_there_mean_unknown() -> None:
    known = Confirmed(book(bought("M01", "TY-7", "", "5 lb"), bought("M01", "TY-7", "", "7 lb")))
    assert known.pack(line("x", item="TY-7"), YARD) is None
    assert known.holds_pack(Pack(Fraction(5), "lb", "", "5 lb"), line("x", item="TY-7"), YARD)
    assert not known.holds_pack(Pack(Fraction(6), "lb", "", "6 lb"), line("x", item="TY-7"), YARD)
    assert not known.holds_pack(Pack(Fraction(5), "fl oz", "", "5 fl oz"), line("x", item="TY-7"), YARD)
    assert not known.holds_pack(Pack(Fraction(5), "tubs", "", "5 tubs"), line("x", item="TY-7"), YARD)


def test_a_known_pack_keeps_its_measure() -> None:
    known = Confirmed(book(bought("M01", "TY-7", "", "32 imperial fl oz")))
    assert known.pack(line("x", item="TY-7"), YARD) == (32.0, "imperial fl oz")


def test_a_description_names_a_pack_for_goods_only() -> None:
    pack = described_pack(line("Glycerin 4 x 1 gal"), "point")
    assert pack is not None and (pack.total, pack.unit) == (4, "gal")
    assert described_pack(replace(line("Freight for 4 x 1 gal"), kind="charge"), "point") is None


@pytest.mark.parametrize(
    ("codes", "wanted"),
    [(("M01", "M45"), "M46"), (("M09",), "M10"), (("M99",), "M100"), (("K1", "K7", "M-003"), "K8"), (("oil", "salt"), "")],
)  # fmt: skip
def test_the_next_free_code_is_in_her_style(codes: tuple[str, ...], wanted: str) -> None:
    shelf = {code: material(code, f"Material {code}") for code in codes}
    assert next_code(replace(book(), materials=shelf, names={})) == wanted


def test_a_book_without_codes_gets_none_and_a_taken_one_is_passed_over() -> None:
    assert next_code(replace(book(), materials={"Salt 1": material("Salt 1", "Salt 1")}, names={})) == ""
    known = book()
    assert next_code(known) == "M07"
    assert next_code(replace(known, names={**known.names, same_name("M07"): "R09"})) == "M08"


@pytest.mark.parametrize(("syntax", "item", "asked"), [("scan", "TY-7", 0), ("scan", "TY-1", 1), ("scan", "", 1), ("page", "TY-1", 0)])
def test_a_scanned_line_with_an_item_nobody_knows_is_asked_about(syntax: str, item: str, asked: int) -> None:
    known = Confirmed(book(bought("M01", "TY-7", "Glycerin", "1 gal")))
    paper = Invoice(YARD, "T-1", date(2026, 10, 1), "380", "USD", (line("Rose clay", item=item),), "scan.png", syntax)
    made = Prepared([{"pack": 1.0, "pack_unit": "lb"}]).filled(paper, paper.lines, known)
    assert len(made.questions) == asked


@pytest.mark.parametrize(
    ("name", "linked", "likely", "words"),
    [
        ("Beeswax pellets", "", "M04", "has an item code M04 like your Cocoa butter, but another name"),
        ("Butter", "", "M04", "has an item code M04 like your Cocoa butter, but another name"),
        ("Castor oil, refined", "", "M04", "has an item code M04 like your Cocoa butter, but another name"),
        ("Castor oil", "", "M01", "has its very name, but its item code M04 is your Cocoa butter"),
        ("Coco butter 2 lb", "M04", "", "its item code is one of yours and it looks like Cocoa butter; 'coco' for 'cocoa'"),
        ("Cocoa butter", "M04", "", "the very name"),
    ],
)
def test_a_suppliers_item_code_that_is_one_of_hers_links_only_where_the_names_agree(name: str, linked: str, likely: str, words: str) -> None:
    """Two who number their items M01, M02 ... do not mean the same by it."""
    found = Confirmed(book()).match(line(name, item="M04"), YARD)
    assert (found.code, found.likely, found.why) == (linked, likely, words)


def test_such_an_item_code_is_known_once_it_was_confirmed() -> None:
    known = book(bought("M02", "M04", "Beeswax pellets"))
    assert code(known, line("Beeswax pellets", item="M04")) == "M02"
    assert code(known, line("Beeswax pellets", item="M04"), "Another Yard") == ""
    assert code(known, line("Beeswax pellets", item="9", buyer="M04")) == "M04", "the paper says that it is her code"


@pytest.mark.parametrize(("syntax", "asked"), [("UBL", False), ("CII", False), ("CSV", True)])
def test_one_piece_by_its_unit_is_not_the_pack_where_the_words_name_one(syntax: str, asked: bool) -> None:
    """Fifty lids at the price of one would be fifty times too dear."""
    lids = line("Lids, box of 50", "L-50")._replace(unit="C62" if syntax != "CSV" else "pcs")
    paper = Invoice(YARD, "T-2", date(2026, 9, 2), "380", "USD", (lids,), "t.xml", syntax)

    def prepared(*purchases: PurchaseLine) -> Prepared:
        return Prepared([{"pack": 1.0, "pack_unit": "each"}]).filled(paper, (lids,), Confirmed(book(*purchases)))

    new = prepared()
    assert bool(new.questions) == asked and "box of 50" in new.hints[0]
    assert new.rows[0].get("pack") == (50.0 if asked else None)
    for pack, held in (("50 each", 50.0), ("1 each", 1.0)):
        known = prepared(bought("M01", "L-50", "Lids", pack))
        assert (known.questions, known.rows[0]["pack"], known.rows[0]["pack_unit"]) == ([], held, "each")
    plain = lids._replace(name="Lids black")
    assert Prepared([{"pack": 1.0, "pack_unit": "each"}]).filled(paper, (plain,), Confirmed(book())).rows[0]["pack"] == 1.0


def test_a_code_that_may_only_be_the_lines_number_counts_with_its_description_alone() -> None:
    shelf = book(bought("M04", "1", "Butter, raw", "5 lb"), bought("M05", "2", "Salt, fine", "9 kg"))
    known = Confirmed(shelf)
    doubtful = line("Butter, raw", "1")._replace(code_in_doubt=True)
    assert known.match(doubtful, YARD).code == "M04" and known.pack(doubtful, YARD) == (5.0, "lb")
    other = line("Grit", "1")._replace(code_in_doubt=True)
    found = known.match(other, YARD)
    assert (found.code, found.likely, found.why) == ("", "", "Cocoa butter was bought under the item code 1, which may only be the line's number")
    assert known.pack(other, YARD) is None and not known.has_item(other, YARD)
    assert known.match(line("Grit", "1"), YARD).code == "M04", "a code beyond doubt links as before"
    swapped = line("Salt, fine", "1")._replace(code_in_doubt=True)
    assert known.match(swapped, YARD).code == "M05" and known.pack(swapped, YARD) is None


def test_a_code_in_doubt_is_not_one_of_the_materials_tab() -> None:
    shelf = book()
    shelf.materials["M01"] = material("M01", "Castor oil", codes=("1",))
    assert Confirmed(shelf).match(line("Grit", "1"), YARD).code == "M01"
    assert Confirmed(shelf).match(line("Grit", "1")._replace(code_in_doubt=True), YARD).code == ""


@pytest.mark.parametrize(("name", "kept", "questions"), [("Castor oil", "1", 0), ("Grit", None, 0), ("", "1", 1)])
def test_a_code_in_doubt_goes_to_purchases_only_beside_a_known_material(name: str, kept: str | None, questions: int) -> None:
    """Purchases takes an item code without a material for the material that has it."""
    one = line(name, "1")._replace(code_in_doubt=True)
    paper = Invoice(YARD, "T-9", date(2026, 9, 2), "380", "USD", (one,), "t.csv", "CSV")
    made = Prepared([{"item_code": "1", "description": name, "pack": 1.0}]).filled(paper, [one], Confirmed(book()))
    assert made.rows[0].get("item_code") == kept and len(made.questions) == questions


@pytest.mark.parametrize(("size", "unit", "row", "asked"), [
    ("55", "", {"pack": 55.0}, '"55" has no unit'), ("a sack", "", {"pack": "a sack"}, "sack"), ("2", "sacks", {"pack": 2.0, "pack_unit": "sacks"}, "sacks"),
    ("55", "lb", {"pack": 55.0, "pack_unit": "lb"}, ""),
])  # fmt: skip
def test_a_pack_that_is_no_amount_is_asked_about(size: str, unit: str, row: dict[str, object], asked: str) -> None:
    """In Purchases it would leave its material, and every product with it, without a price."""
    one = line("Grit", "G-1")._replace(pack_size=size, pack_unit=unit, place="row 4")
    paper = Invoice(YARD, "T-9", date(2026, 9, 2), "380", "USD", (one,), "t.csv", "CSV")
    questions = Prepared([{**row}]).filled(paper, [one], Confirmed(book())).questions
    assert len(questions) == bool(asked) and all(q.startswith("row 4: the pack ") and asked in q and q.endswith("; say what one pack holds") for q in questions)


def test_a_pack_without_its_unit_is_known_once_it_was_confirmed() -> None:
    one = line("Grit", "G-1")._replace(pack_size="55")
    paper = Invoice(YARD, "T-9", date(2026, 9, 2), "380", "USD", (one,), "t.csv", "CSV")
    for held, questions, unit in (("55 lb", 0, "lb"), ("50 lb", 1, None)):
        made = Prepared([{"pack": 55.0}]).filled(paper, [one], Confirmed(book(bought("M01", "G-1", "Grit", held))))
        assert len(made.questions) == questions and made.rows[0].get("pack_unit") == unit


def test_a_pack_column_in_words_is_a_guess_to_be_confirmed() -> None:
    one = line("Grit", "G-1")._replace(pack_size="12 x 2 oz", place="row 4")
    paper = Invoice(YARD, "T-9", date(2026, 9, 2), "380", "USD", (one,), "t.csv", "CSV")
    made = Prepared([{"pack": "12 x 2 oz"}]).filled(paper, [one], Confirmed(book()))
    assert (made.rows[0]["pack"], made.rows[0]["pack_unit"]) == (24.0, "oz") and "read from the pack's own words" in made.questions[0]
