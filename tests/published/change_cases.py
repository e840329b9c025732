"""Published figures of change: price and quantity variances between two states, and the sales a price change may cost."""

from __future__ import annotations

from fractions import Fraction

import pytest
from published.figures import Cases, Entry
from published.small_books import ON, Number, book, exact, item, made, money, take, work
from pytest import approx

from costbook.amounts.money import rounded
from costbook.book.model import Part, Settings
from costbook.costing.levers import break_even_sales_change
from costbook.costing.rates import rates
from costbook.costing.usage import Usage, costs
from costbook.costing.variance import State, Variance, state_from_rows, state_rows, variances
from costbook.errors import InputError

CASES = Cases([])
VARIANCES, PRICE_CHANGES = "variances", "price changes"


def state_of(parts: list[Part], price: Number = 0, hours: Number = 0, pay: Number = 0, overhead: Number = 0) -> State:
    """The state of a priced book of one product, kept as rows and read back."""
    settings = Settings(book_date=ON, overhead_per_year=money(overhead), hands_on_hours_per_year=money(1))
    one = made("P", *parts, family="P")
    whole = book([one], [item("K", price)], [work("P", pay, exact(hours) * 60)], settings=settings)
    usage, rated = Usage(whole), rates(whole, ON)
    costed, findings = costs(usage, rated)
    assert not findings
    return state_from_rows(state_rows(State.of(usage, rated, costed, ON)))


def between(old: State, new: State) -> Variance:
    """The split of the one product; its effects add up to its change."""
    [found] = variances(old, new).values()
    assert sum(map(Fraction, found.effects)) == approx(Fraction(found.after) - Fraction(found.before), abs=1e-12)
    return found


def materials(standard: Number, standard_rate: Number, used: Number, rate: Number) -> Variance:
    """The split of a product that takes an ingredient of the recipe; a consumable is one."""
    return between(
        state_of([take("consumable", "K", standard)], standard_rate), state_of([take("consumable", "K", used)], rate)
    )


@CASES.of("A38", VARIANCES, "effects of rates and of the recipe between two states, for all the pieces made")
def materials_of_a_batch(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    rate = exact(given["actual_cost"]) / given["actual_qty"]
    assert rate == exact(published["actual_price"])
    found = materials(given["std_qty_unit"], given["std_price"], Fraction(given["actual_qty"], given["units"]), float(rate))
    assert found.rates * given["units"] == approx(published["price_variance"])
    assert found.recipe * given["units"] == approx(published["quantity_variance"])


@CASES.of("A39", VARIANCES, "effects of rates and of the recipe between two states of a product")
def materials_of_a_piece(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    found = materials(given["std_qty"], given["std_price"], given["actual_qty"], given["actual_price"])
    assert (found.rates, found.recipe, found.change) == approx(
        (published["price_variance"], published["quantity_variance"], published["total"])
    )


def labour(standard: Number, standard_pay: Number, hours: Number, pay: Number) -> Variance:
    return between(state_of([take("packaging", "K")], 0, standard, standard_pay), state_of([take("packaging", "K")], 0, hours, pay))


@CASES.of("A41", VARIANCES, "effects of pay and of minutes between two states of a product")
def labour_of_a_piece(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    found = labour(given["std_hours"], given["std_rate"], given["actual_hours"], given["actual_rate"])
    assert (found.pay, found.labour_minutes, found.labour) == approx(
        (published["rate_variance"], published["time_variance"], published["total"])
    )


@CASES.of("A46", VARIANCES, "effects of pay and of minutes between two states, for all the pieces made")
def labour_of_a_batch(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    found = labour(given["std_hours_unit"], given["std_rate"], Fraction(given["hours"], given["units"]), given["rate"])
    assert found.pay * given["units"] == approx(published["rate_variance"])
    assert found.labour_minutes * given["units"] == approx(published["efficiency_variance"])


@CASES.of("A43", VARIANCES, "effects of overhead rate and minutes: the printed ones at the rounded rate, and nothing rounded between otherwise")
def overhead_rounded_too_early(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]

    def found(rate: Number) -> Variance:
        old = state_of([take("packaging", "K")], 0, given["std_hours"], 0, given["std_rate"])
        return between(old, state_of([take("packaging", "K")], 0, given["actual_hours"], 0, rate))

    exactly = given["actual_cost"] / given["actual_hours"]
    assert rounded(exactly) == money(published["rounded_rate"])
    early = found(published["rounded_rate"])
    assert early.overhead_rate == approx(published["published_rate_variance"])
    assert early.overhead_minutes == approx(published["efficiency_variance"])
    assert early.change == early.overhead == approx(published["published_total"])
    assert found(exactly).change == approx(published["exact_total"])


@CASES.of("P01", PRICE_CHANGES, "the change of sales at which a price cut leaves her no better or worse off, none where no sales do")
def sales_after_a_price_cut(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]["required_volume_increase_pct"]
    assert list(published) == [str(cut) for cut in given["price_cut_pct"]]
    for cut in given["price_cut_pct"]:
        for margin, wanted in zip(given["gross_margin_pct"], published[str(cut)], strict=True):
            if wanted is None:
                with pytest.raises(InputError):
                    break_even_sales_change(margin / 100, -cut / 100)
            else:
                assert rounded(break_even_sales_change(margin / 100, -cut / 100) * 100, 0) == wanted
