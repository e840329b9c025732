"""What to make next and the stock's worth, against the demo's tables to the printed digit; orders, ties and reasons."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from records import replace
from shared_files import rows

from costbook import commands
from costbook.costing.checks import Priced
from costbook.costing.restock import MARGIN, SORTS, Queue, QueueRow, batches, need, ordered, queue
from costbook.costing.stock import needs_of, shortages, stock_value
from costbook.errors import InputError
from costbook.hosts.file import WorkbookFile

T = "demo/tables/"
ON = date(2026, 10, 26)


def printed(value: float | Decimal | None, like: str) -> str:
    """A value rounded half up to as many decimals as the table's text has."""
    number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value or 0)
    return str(number.quantize(Decimal(1).scaleb(-len(like.partition(".")[2])), ROUND_HALF_UP))


@pytest.fixture(scope="module")
def priced(tmp_path_factory: pytest.TempPathFactory) -> Priced:
    folder = tmp_path_factory.mktemp("demo")
    commands.demo(folder)
    host = WorkbookFile(folder / commands.DEMO_BOOK)
    try:
        return commands.worked_out(host.snapshot(), ON)[0]
    finally:
        host.close()


@pytest.fixture(scope="module")
def made(priced: Priced) -> Queue:
    return queue(priced)


@pytest.fixture(scope="module")
def by_code(made: Queue) -> Mapping[str, QueueRow]:
    return {r.code: r for r in made.rows}


def changed(priced: Priced, code: str, **more: object) -> Priced:
    product = replace(priced.book.products[code], **more)  # type: ignore[arg-type]
    book = replace(priced.book, products={**priced.book.products, code: product})
    return replace(priced, book=book, usage=type(priced.usage)(book))


def test_the_queue_is_the_demos(by_code: Mapping[str, QueueRow]) -> None:
    table = rows(T + "queue_expected.csv")
    assert [r["Code"] for r in table] == list(by_code)
    for line in table:
        row = by_code[line["Code"]]
        told = {
            "On hand": row.on_hand, "Sold per week": row.sold_per_week, "Waiting": row.waiting, "Wholesale open": row.promised,
            "Need": row.need, "Batches": Decimal(row.batches), "Good per batch": Decimal(row.good),
            "Margin per piece": row.worth.margin, "Margin %": (row.worth.margin_fraction or 0) * 100,
            "Cash per hands-on hour": row.worth.cash_per_hour, "Hands-on hours per batch": row.hands_on_hours,
        }  # fmt: skip
        assert {k: printed(v, line[k]) for k, v in told.items()} == {k: line[k] for k in told}
        assert [str(row.sold_out_since or ""), str(row.season_end or "")] == [line["Sold out since"], line["Season end"]]
        assert "; ".join(s.name for s in row.short) == line["Short of"]
        assert row.can_be_made == (line["Short of"] == "")


@pytest.mark.parametrize("by", SORTS)
def test_every_order_is_the_demos(by: str, made: Queue) -> None:
    table = [r for r in rows(T + "queue_sorts_expected.csv") if r["Sort"] == by]
    assert [r.code for r in ordered(made.rows, by)] == [r["Code"] for r in table] and len(table) == 12
    everything = ordered(made.rows, by, wanted_only=False)
    assert {r.code for r in everything[12:]} == {"P09", "P12"}


def test_shortages_are_the_demos(priced: Priced, made: Queue) -> None:
    needs, why = needs_of(priced.usage, priced.book.products)
    assert not why
    found = [
        (s.product, s.code, s.name, s.unit, printed(s.needed, "0.00"), printed(s.on_hand, "0"))
        for s in shortages(priced.book, needs)
    ]
    table = rows(T + "shortages_expected.csv")
    assert found == [tuple(r[k] for k in ("Product", "Code", "Material", "Unit", "Needed for one batch", "On hand")) for r in table]
    # The queue's own rows say the same, product by product.
    assert [(s.product, s.code) for r in made.rows for s in r.short] == [(r["Product"], r["Code"]) for r in table]


def test_stock_value_is_the_demos(priced: Priced) -> None:
    found = stock_value(priced.book, priced.rates, priced.costs)
    table = rows(T + "stock_value_expected.csv")
    assert not found.findings
    for row, line in zip(found.rows, table, strict=False):
        told = [row.what, row.code, row.name, printed(row.on_hand, line["On hand"]), row.unit, printed(row.value, line["Value"])]
        assert told == [line[k] for k in ("What", "Code", "Name", "On hand", "Unit", "Value")]
    assert len(found.rows) == len(table) - 3
    assert [printed(found.total(w), "0.00") for w in ("finished", "material", "")] == [r["Value"] for r in table[-3:]]


# ------------------------------------------------------------ what the scenario reads out


def test_what_the_stock_allows_and_what_else_wants_it(by_code: Mapping[str, QueueRow]) -> None:
    """scenario.md section 9: tins for 2 batches of P04, mango butter for 1; P05 uses the same tin and the same blend."""
    scarce = {s.name: s for s in by_code["P04"].scarce}
    assert by_code["P04"].possible == 1 and by_code["P04"].batches == 3
    assert scarce["Round tin 6 oz with lid"].batches == 2 and scarce["Mango butter"].batches == 1
    assert printed(scarce["Mango butter"].needed, "0.0") == "6.5"
    assert "P05" in scarce["Round tin 6 oz with lid"].wanted_by and "P05" in scarce["Mango butter"].wanted_by
    assert "P09" not in {code for s in scarce.values() for code in s.wanted_by}


def test_reasons_are_plain_sentences(by_code: Mapping[str, QueueRow]) -> None:
    assert by_code["P09"].reason == "Enough: 4 on hand cover what is wanted."
    assert by_code["P01"].reason.startswith(
        "Sold out since 2026-10-05, 11 waiting, 12 promised: 51 wanted, 2 batches, and 10 more for P14, 3 batches in all; cannot be made now: "
        "28 Round tin 4 oz with lid on hand, 32 needed (P02 and P03 want it too)"
    )
    assert "7 oz of Mango butter on hand, 7.88 needed" in by_code["P13"].reason
    assert by_code["P06"].reason == "2 on hand: 12 wanted, 1 batch; can be made now."
    for row in by_code.values():
        assert row.reason.endswith(".") and row.reason[0].isupper() | row.reason[0].isdigit()


# ------------------------------------------------------------ what sets take


def test_what_a_set_takes_stands_beside_what_is_wanted_of_its_parts(by_code: Mapping[str, QueueRow]) -> None:
    """By hand: 4 gift boxes are wanted, a batch is 10, and takes 10 each of P01, P07 and P08 (scenario.md).

    P01: 51 of its own and 10 are 61, of 30 a batch 3. P07: 13 and 10, a batch of 23. P08: 22 asked for and 10, 9 on hand.
    """
    told = {c: (r.need, r.for_sets, r.wanted_by_sets, r.batches, r.batches_in_all) for c, r in by_code.items() if r.for_sets}
    assert told == {"P01": (51, 10, ("P14",), 2, 3), "P07": (13, 10, ("P14",), 1, 1), "P08": (13, 10, ("P14",), 1, 2)}
    assert all(r.batches_in_all == r.batches for c, r in by_code.items() if c not in told)


@given(st.integers(0, 60), st.integers(0, 30))
def test_stock_is_counted_once_for_itself_and_for_sets(priced: Priced, on_hand: int, waiting: int) -> None:
    """P07 by hand: 5 a week for 2 weeks and those waiting for it, and 10 for the gift box, less one stock for all."""
    row = {r.code: r for r in queue(changed(priced, "P07", on_hand=Decimal(on_hand), waiting=Decimal(waiting))).rows}["P07"]
    assert row.need == max(0, waiting + 10 - on_hand)
    assert row.need + row.for_sets == max(0, waiting + 10 + 10 - on_hand)


def test_a_part_wanted_for_sets_alone_is_in_the_queue(priced: Priced) -> None:
    made = queue(changed(priced, "P07", on_hand=Decimal(15)))
    row = {r.code: r for r in made.rows}["P07"]
    # By hand: 3 waiting and two weeks' 10 are 13, which 15 on hand cover; 13 and the 10 for P14 are 8 more than those.
    assert (row.need, row.batches, row.for_sets, row.batches_in_all) == (0, 0, 8, 1)
    assert "P07" in [r.code for r in ordered(made.rows)]
    assert row.reason.startswith("Sold out since 2026-10-17: 8 for P14, 1 batch; can be made now")


def test_a_set_of_sets_hands_its_wants_down(priced: Priced) -> None:
    """By hand: P13 takes 1 gift box a piece here; 2 batches of 10 want 20 of them besides the 4: 3 batches, 30 of each part."""
    gift = next(p for p in priced.book.products["P14"].parts if p.kind == "product")
    parts = (*priced.book.products["P13"].parts, gift._replace(item="P14"))
    found = {r.code: r for r in queue(changed(priced, "P13", parts=parts)).rows}
    assert (found["P14"].need, found["P14"].for_sets, found["P14"].batches_in_all) == (4, 20, 3)
    assert (found["P01"].for_sets, found["P01"].batches_in_all) == (30, 3)


def test_what_a_set_she_tries_out_takes_is_not_wanted(priced: Priced) -> None:
    assert not any(r.for_sets for r in queue(changed(priced, "P14", trying=True)).rows)


def test_earliest_finish_and_shipping(by_code: Mapping[str, QueueRow]) -> None:
    """Worked by hand: 63 min a batch and 2.4 min a piece for 32 pieces are 139.8 min from 9:00 on, then 24 h of rest."""
    row = by_code["P01"]
    assert row.finished is not None and row.ships is not None
    assert (str(row.finished), str(row.ships)) == ("2026-10-26 11:19:48", "2026-10-27 11:19:48")
    assert by_code["P08"].finished == by_code["P08"].ships  # no rest


def test_a_season_that_ends_too_soon_is_said(priced: Priced) -> None:
    late = {r.code: r for r in queue(changed(priced, "P05", season_end=date(2026, 10, 26))).rows}["P05"]
    assert "its season ends on 2026-10-26, before it could ship" in late.reason


def test_rack_nights_and_moulds(priced: Priced) -> None:
    moulds = dict.fromkeys(("P06", "P07", "P12"), ("half sphere", 24.0))  # P12 needs nothing
    row = {r.code: r for r in queue(priced, moulds=moulds).rows}["P06"]
    assert (row.mould, row.mould_wanted_by) == ("half sphere", ("P07",))
    assert row.reason == "2 on hand: 12 wanted, 1 batch; can be made now; P07 wants the mould half sphere too."
    cash = row.worth.cash
    assert cash is not None and row.worth.cash_per_rack_night == pytest.approx(cash * 23 / 24)
    assert row.worth.cash_per_mould == pytest.approx(cash * 23 / 24)


# ------------------------------------------------------------ edges


def test_need_is_not_below_zero_and_a_negative_count_is_asked_about(priced: Priced) -> None:
    product = priced.book.products["P09"]
    assert need(replace(product, on_hand=Decimal(400)), Decimal(2)) == 0
    assert need(replace(product, on_hand=Decimal(-3)), Decimal(2)) == need(replace(product, on_hand=None), Decimal(2)) == 4
    found = queue(changed(priced, "P09", on_hand=Decimal(-3)))
    assert [f.sentence for f in found.findings] == ["-3 of Oat Soak - unscented on hand: a count cannot be below zero; taken as none"]
    valued = stock_value(changed(priced, "P09", on_hand=Decimal(-3)).book, priced.rates, priced.costs)
    assert [f.check for f in valued.findings] == ["negative-stock"]


def test_batches_are_rounded_up() -> None:
    assert [batches(Decimal(n), 30) for n in (0, 1, 30, 31, 60)] == [0, 1, 1, 2, 2]
    assert batches(Decimal(5), 0) == 0


def test_ties_go_by_waiting_then_date_then_code(made: Queue) -> None:
    alike = [
        replace(made.rows[0], code=code, waiting=Decimal(waiting), sold_out_since=day)
        for code, waiting, day in (("D", 1, None), ("C", 1, ON), ("B", 1, ON), ("A", 0, None), ("E", 2, None))
    ]
    assert [r.code for r in ordered(alike, MARGIN)] == ["E", "B", "C", "D", "A"]


def test_a_product_without_price_comes_last_and_an_unknown_order_is_refused(priced: Priced) -> None:
    found = queue(changed(priced, "P14", prices={}))
    assert ordered(found.rows, MARGIN)[-1].code == "P14"
    with pytest.raises(InputError, match="no order by colour"):
        ordered(found.rows, "by colour")
    with pytest.raises(InputError, match="no channel Moon"):
        queue(priced, channel="Moon")


def test_what_nobody_counted_is_not_short(priced: Priced) -> None:
    tin = replace(priced.book.materials["K01"], on_hand=None)
    book = replace(priced.book, materials={**priced.book.materials, "K01": tin})
    found = {r.code: r for r in queue(replace(priced, book=book, usage=type(priced.usage)(book))).rows}
    assert found["P02"].uncounted == ("Round tin 4 oz with lid",) and found["P02"].can_be_made


@pytest.mark.parametrize("rule", ["average", "layers"])
def test_stock_follows_the_books_rule(rule: str, tmp_path: Path) -> None:
    """Foaming powder, by hand: 4 x 5 lb on B-1041 (208.00 goods) and 2 x 5 lb on B-0977 (94.00 + 2.40); 96 oz on hand.

    Average, as invoice_traps.csv prints it: 0.6230/oz. Layers: 96 oz are all of the newer paper, 0.6333/oz.
    """
    commands.demo(tmp_path)
    host = WorkbookFile(tmp_path / commands.DEMO_BOOK)
    first = commands.worked_out(host.snapshot(), ON)[0]
    host.close()
    from costbook.costing.rates import rates

    book = replace(first.book, settings=replace(first.book.settings, rate_rule=rule))
    value = next(r.value for r in stock_value(book, rates(book, ON), first.costs).rows if r.code == "M08")
    assert printed(value / 96, "0.0000") == {"average": "0.6230", "layers": "0.6333"}[rule]
