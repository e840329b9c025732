"""Why a paper may not be posted, and which of its lines may make a price.

Rules: EN 16931-1:2017, BR-CO-10 to BR-CO-17, and the line arithmetic the standard does not ask for. The paper below was
made up and worked out by hand: 2 x 10.00 + 3 for 5.00 less 1.00 plus 0.50 = 24.50; 20 % of 24.50 is 4.90.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from records import replace

from costbook.book.model import Invoice, InvoiceLine
from costbook.invoices.checks import counted, identity, problems, sign, summed

SODA = InvoiceLine(
    line_id="1", kind="goods", item_code="M01", name="Baking soda", quantity=Decimal(2), unit="H87",
    price=Decimal("10.00"), base_quantity=Decimal(1), net=Decimal("20.00"), place="line 1", tax_category="S",
    tax_percent=Decimal(20),
)  # fmt: skip
SALT = replace(SODA, line_id="2", name="Sea salt", quantity=Decimal(3), price=Decimal("5.00"), base_quantity=Decimal(3),
               net=Decimal("5.00"), place="line 2")  # fmt: skip
LESS = replace(
    SODA, line_id="", kind="discount", name="Friends", price=None, unit="", net=Decimal("-1.00"), place="discount 1"
)
MORE = replace(LESS, kind="charge", name="Freight", net=Decimal("0.50"))
PAPER = Invoice(
    supplier="Brackwell Dry Goods", number="B-1041", issued=date(2026, 9, 1), type_code="380", currency="USD",
    lines=(SODA, SALT, LESS, MORE), source="b.xml", syntax="UBL", net=Decimal("24.50"), tax=Decimal("4.90"),
    gross=Decimal("29.40"), prepaid=Decimal("9.00"), rounding=Decimal("0.10"), due=Decimal("20.50"),
    line_total=Decimal("25.00"), discount_total=Decimal("1.00"), charge_total=Decimal("0.50"),
    tax_breakdown=(("S", Decimal(20), Decimal("24.50"), Decimal("4.90")),),
)  # fmt: skip
LIST = replace(
    PAPER, syntax="CSV", line_total=None, discount_total=None, charge_total=None, net=None, tax=None, prepaid=None,
    rounding=None, due=None, tax_breakdown=(), gross=Decimal("24.50"),
)  # fmt: skip


def test_a_paper_that_closes_has_no_problems() -> None:
    assert problems(PAPER) == ()
    assert problems(LIST) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"line_total": Decimal("25.01")}, "difference 0.01; BR-CO-10"),
        ({"discount_total": Decimal("3.00")}, "difference 2.00; BR-CO-11"),
        ({"charge_total": None}, "difference 0.50; BR-CO-12"),
        ({"net": Decimal("24.00")}, "difference 0.50; BR-CO-13"),
        ({"tax": Decimal("5.00")}, "difference 0.10; BR-CO-14"),
        ({"gross": Decimal("29.39")}, "difference 0.01; BR-CO-15"),
        ({"due": Decimal("29.40")}, "difference 8.90; BR-CO-16"),
        ({"rounding": None}, "difference 0.10; BR-CO-16"),
        ({"third_party": Decimal("5.00")}, "difference 5.00; BR-CO-16"),
        ({"tax_breakdown": (("S", Decimal(10), Decimal("24.50"), Decimal("4.90")),)}, "difference 2.45; BR-CO-17"),
        ({"tax_breakdown": (("S", Decimal(20), Decimal("24.52"), Decimal("4.90")),)}, "difference 0.02; BR-S-08"),
        ({"lines": (replace(SODA, net=Decimal("20.01")), SALT, LESS, MORE)}, "make 20.00 (difference 0.01)"),
        ({"lines": (replace(SODA, price=None), SALT, LESS, MORE)}, "has an amount and no price"),
        ({"supplier": ""}, "does not name its supplier"),
        ({"number": ""}, "has no number"),
        ({"issued": None}, "has no date"),
        ({"currency": ""}, "no currency"),
        ({"net": None}, "no total without tax"),
        ({"gross": None}, "no total with tax"),
        ({"due": None}, "what is due"),
        ({"lines": ()}, "has no lines, only totals"),
        ({"type_code": "325"}, "pro forma"),
        ({"type_code": "231"}, "an order confirmation, not an invoice"),
        ({"type_code": "386"}, "kind 386 (UNTDID 1001)"),
        ({"problems": ("line 1: '1e3' is not a number",)}, "'1e3' is not a number"),
    ],
)
def test_each_rule_is_checked_and_gives_its_difference(change: dict[str, object], words: str) -> None:
    found = problems(replace(PAPER, **change))  # type: ignore[arg-type]
    assert any(words in text for text in found), found


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"gross": Decimal("152.50")}, "the lines do not add up to the invoice total (difference 128.00)"),
        ({"gross": None}, "no invoice total"),
        ({"prepaid": Decimal("4.50"), "due": Decimal("21.00")}, "not what is due (difference 1.00)"),
        ({"lines": (replace(SODA, quantity=Decimal(0), price=None), SALT, LESS, MORE)}, "an amount and no quantity"),
        ({"lines": (replace(SODA, quantity=Decimal(3)), SALT, LESS, MORE)}, "make 30.00 (difference 10.00)"),
    ],
)
def test_a_list_is_checked_by_its_own_sums(change: dict[str, object], words: str) -> None:
    found = problems(replace(LIST, **change))  # type: ignore[arg-type]
    assert any(words in text for text in found), found


def test_a_half_cent_may_be_rounded_either_way_and_no_more() -> None:
    """3 x 3.3333 is 9.9999 and 1 x 0.125 may be 0.12 or 0.13 (common practice); 0.14 may not."""
    for price, net, fine in (("0.125", "0.12", True), ("0.125", "0.13", True), ("0.125", "0.14", False)):
        line = replace(SODA, quantity=Decimal(1), price=Decimal(price), net=Decimal(net))
        found = problems(replace(LIST, lines=(line,), gross=line.net))
        assert any("make" in text for text in found) is not fine


def test_a_list_with_its_tax_stated_apart_adds_it_once() -> None:
    assert problems(replace(LIST, tax=Decimal("4.90"), gross=Decimal("29.40"))) == ()
    tax = replace(LESS, line_id="5", kind="tax", net=Decimal("4.90"))
    with_line = replace(LIST, tax=Decimal("4.90"), gross=Decimal("29.40"), lines=(*LIST.lines, tax))
    assert problems(with_line) == ()


@pytest.mark.parametrize(
    ("line", "type_code", "may"),
    [
        (SODA, "380", True),
        (SODA, "384", True),
        (SODA, "381", False),
        (SODA, "261", False),
        (replace(SODA, kind="sample", net=Decimal(0)), "380", False),
        (replace(SODA, kind="back-order", net=Decimal(0), quantity=Decimal(0)), "380", False),
        (replace(SODA, net=Decimal(0)), "380", False),
        (replace(SODA, quantity=Decimal(-2), net=Decimal("-20.00")), "384", False),
        (replace(SODA, group=True), "380", False),
        (LESS, "380", False),
        (MORE, "380", False),
    ],
)
def test_only_goods_bought_and_paid_for_make_a_price(line: InvoiceLine, type_code: str, may: bool) -> None:
    assert counted(replace(PAPER, type_code=type_code, lines=(line,)), line) is may


def test_a_credit_note_is_turned_round_once() -> None:
    """381 carries positive amounts by the standard; a list carries them negative already."""
    assert sign(PAPER) == 1
    assert sign(replace(PAPER, type_code="381")) == -1
    assert sign(replace(LIST, type_code="381", gross=Decimal("-10.32"))) == 1
    assert sign(replace(PAPER, type_code="384", gross=Decimal("-8.79"))) == 1


def test_the_same_paper_has_the_same_identity_and_another_has_not() -> None:
    same = replace(PAPER, supplier="  BRACKWELL dry goods ", number="b-1041", gross=Decimal("29.4"), source="other.xml")
    assert identity(same) == identity(PAPER)
    for change in (
        {"number": "B-1042"},
        {"issued": date(2026, 9, 2)},
        {"type_code": "381"},
        {"gross": Decimal("29.41")},
    ):
        assert identity(replace(PAPER, **change)) != identity(PAPER)


def test_document_charges_are_no_lines() -> None:
    assert summed(PAPER) == (SODA, SALT)
    assert summed(LIST) == LIST.lines


@given(st.lists(st.tuples(st.integers(1, 50), st.integers(1, 99999)), min_size=1, max_size=8), st.integers(-500, 500))
def test_whatever_closes_passes_and_a_shifted_total_says_by_how_much(items: list[tuple[int, int]], shift: int) -> None:
    lines = tuple(
        replace(
            SODA, line_id=str(n), quantity=Decimal(count), price=Decimal(cents) / 100, net=Decimal(count * cents) / 100
        )
        for n, (count, cents) in enumerate(items, 1)
    )
    total = Decimal(sum(count * cents for count, cents in items) + shift) / 100
    found = problems(replace(LIST, lines=lines, gross=total))
    wanted = f"the lines do not add up to the invoice total (difference {abs(shift) / 100:.2f})"
    assert found == ((wanted,) if shift else ())
