"""Laws of amounts and money that hold for every input, tried on many."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costbook.amounts.money import (
    Ending,
    allocate,
    read_ending,
    read_money,
    rounded,
    up_to_ending,
)
from costbook.amounts.quantity import (
    MEASURES,
    convert,
    number_text,
    read_amount,
    read_number,
    same_name,
    unit,
)
from costbook.errors import CostbookError

WEIGHT_UNITS = ("g", "kg", "oz", "lb", "grain", "tonne")
VOLUME_UNITS = ("mL", "L", "tsp", "tbsp", "cup", "US fl oz", "imperial gal", "m3")
COUNT_UNITS = ("each", "dozen", "gross")

amounts = st.fractions(min_value=0, max_value=10**6, max_denominator=64)
decimals = st.decimals(min_value=0, max_value=10**6, places=4).map(Fraction)
styles = st.sampled_from(["point", "comma"])
totals = st.decimals(min_value=-(10**7), max_value=10**7, places=2)
weights = st.lists(
    st.one_of(
        st.integers(0, 10**6),
        st.floats(0, 1e6, allow_subnormal=False),
        st.decimals(0, 10**6, places=3),
        st.fractions(0, 1000, max_denominator=97),
    ),
    min_size=1,
    max_size=30,
).filter(any)
steps = st.sampled_from(["0.05", "0.10", "0.25", "0.50", "1", "2.50", "5"]).map(lambda s: Ending("step", Decimal(s)))
cents = st.integers(0, 99).map(lambda n: Ending("cents", Decimal(n) / 100))
endings = st.one_of(steps, cents)
prices = st.one_of(
    st.floats(0, 1e6, allow_subnormal=False),
    st.decimals(0, 10**6, places=5),
    st.fractions(0, 10**6, max_denominator=999),
)


def exact(value: Decimal | Fraction | float) -> Fraction:
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


# ---------------------------------------------------------------- shares


@given(totals, weights)
def test_shares_sum_exactly_and_are_within_a_cent(
    total: Decimal, parts: list[Decimal | Fraction | float | int]
) -> None:
    shares = allocate(total, parts)
    assert sum(shares) == total
    of = sum(exact(part) for part in parts)
    for share, part in zip(shares, parts, strict=True):
        assert abs(Fraction(share) - Fraction(total) * exact(part) / of) < Fraction(1, 100)


@given(totals, weights, st.integers(2, 9))
def test_shares_do_not_depend_on_the_scale_of_the_weights(
    total: Decimal, parts: list[Decimal | Fraction | float | int], times: int
) -> None:
    assert allocate(total, parts) == allocate(total, [exact(part) * times for part in parts])


@given(totals, weights)
def test_a_credit_is_shared_as_its_charge(total: Decimal, parts: list[Decimal | Fraction | float | int]) -> None:
    assert allocate(-total, parts) == [-share for share in allocate(total, parts)]


# ---------------------------------------------------------------- units


@given(amounts, st.sampled_from([WEIGHT_UNITS, VOLUME_UNITS, COUNT_UNITS]), st.data())
def test_units_there_and_back(amount: Fraction, names: tuple[str, ...], data: st.DataObject) -> None:
    one, other = (unit(data.draw(st.sampled_from(names))) for _ in range(2))
    assert convert(convert(amount, one, other), other, one) == amount


@given(amounts, st.sampled_from(WEIGHT_UNITS), st.sampled_from(VOLUME_UNITS), st.floats(0.05, 5))
def test_weight_to_volume_and_back(amount: Fraction, weight: str, volume: str, g_per_ml: float) -> None:
    there = convert(amount, unit(weight), unit(volume), g_per_ml)
    assert convert(there, unit(volume), unit(weight), g_per_ml) == amount


@given(amounts, st.sampled_from(VOLUME_UNITS), st.floats(0.05, 5), st.sampled_from(MEASURES))
def test_base_agrees_with_the_exact_conversion(amount: Fraction, name: str, g_per_ml: float, measures: str) -> None:
    written = read_amount(number_text(amount), name, measures=measures)
    exactly = convert(amount, unit(name, measures), unit("g"), g_per_ml)
    assert math.isclose(written.base(g_per_ml=g_per_ml), exactly, rel_tol=1e-14)


@given(st.sampled_from(("cups", "Fl. Oz", "tbsp.", "LBS", "teaspoons", "kg")), st.integers(0, 3), st.booleans())
def test_case_of_long_names_and_spaces_do_not_count(name: str, spaces: int, upper: bool) -> None:
    changed = " " * spaces + (name.upper() if upper else name.lower()).replace(" ", " " * (spaces + 1)) + " " * spaces
    assert unit(changed) == unit(name)


# ---------------------------------------------------------------- reading and writing


@given(st.one_of(amounts, decimals), styles)
def test_a_number_written_and_read_is_the_same(value: Fraction, decimal: str) -> None:
    assert read_number(number_text(value, decimal), decimal) == value


@given(st.floats(1e-9, 1e12))
def test_a_cell_and_its_text_are_the_same_number(value: float) -> None:
    shown = format(Decimal(repr(value)), "f")
    assert read_amount(value, "g").usual == read_number(shown) == Fraction(shown)


@given(st.tuples(amounts, amounts, amounts).map(sorted), st.sampled_from(("cup", "oz", "g", "each")))
def test_a_range_written_and_read_is_the_same(three: list[Fraction], name: str) -> None:
    low, usual, high = three
    text = f"{number_text(low)} to {number_text(high)} (usual {number_text(usual)})"
    in_cell, in_text = read_amount(text, name), read_amount(f"{text} {name}")
    assert [in_cell.low, in_cell.usual, in_cell.high] == three
    assert in_cell == in_text == read_amount(in_cell.text)


@given(amounts, st.sampled_from(("cup", "oz", "g", "each")), styles)
def test_text_of_an_amount_reads_as_the_amount(value: Fraction, name: str, decimal: str) -> None:
    amount = read_amount(number_text(value, decimal), name, decimal=decimal)
    assert read_amount(amount.text, decimal=decimal) == amount


@given(st.text(alphabet="0123456789 .,/-+%()½⅓abcopstuz#TtL²٣\u00a0−", max_size=25), styles)
def test_no_text_ends_in_anything_but_an_amount_or_a_sentence(text: str, decimal: str) -> None:
    try:
        amount = read_amount(text, "", decimal=decimal)
    except CostbookError as error:
        assert str(error).endswith(".")
    else:
        assert 0 <= amount.low <= amount.usual <= amount.high
        assert amount.percent is (amount.unit is None)


@given(st.text(alphabet="0123456789 .,/½", max_size=12), st.sampled_from(("cup", "oz")), styles)
def test_the_short_way_of_reading_is_the_long_way(number: str, name: str, decimal: str) -> None:
    """A bracket sends the same amount the long way round."""
    try:
        short = read_amount(number, name, decimal=decimal)
    except CostbookError:
        with pytest.raises(CostbookError):
            read_amount(f"{number} (level)", name, decimal=decimal)
    else:
        long = read_amount(f"{number} (level)", name, decimal=decimal)
        assert (short.unit, short.low, short.usual, short.high) == (long.unit, long.low, long.usual, long.high)


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=2), styles)
def test_money_written_and_read_is_the_same(value: Decimal, decimal: str) -> None:
    written = f"{value:,f}"
    assert read_money(written if decimal == "point" else written.translate(str.maketrans(",.", ".,")), decimal) == value


@given(st.text(max_size=30))
def test_a_folded_name_stays_folded(name: str) -> None:
    assert same_name(same_name(name)) == same_name(name)


# ---------------------------------------------------------------- rounding


@given(prices, st.integers(0, 6))
def test_rounding_moves_by_half_a_unit_at_most(value: Decimal | Fraction | float, places: int) -> None:
    result = Fraction(rounded(value, places))
    assert abs(result - exact(value)) <= Fraction(1, 2 * 10**places)
    assert (result * 10**places).denominator == 1
    assert rounded(-exact(value), places) == -rounded(exact(value), places)


@given(prices, endings)
def test_rounding_up_hits_an_ending_and_never_lowers(price: Decimal | Fraction | float, ending: Ending) -> None:
    shown = up_to_ending(price, ending)
    taken = Fraction(rounded(price, 8))
    assert Fraction(shown) >= taken
    if ending.kind == "step":
        assert Fraction(shown) % Fraction(ending.value) == 0
        assert Fraction(shown) - taken < Fraction(ending.value)
    else:
        assert Fraction(shown) % 1 == Fraction(ending.value)
        assert Fraction(shown) - taken < 1 or shown == ending.value
    assert up_to_ending(shown, ending) == shown


@given(prices, prices, endings)
def test_a_dearer_price_is_never_shown_cheaper(
    one: Decimal | Fraction | float, other: Decimal | Fraction | float, ending: Ending
) -> None:
    low, high = sorted((one, other), key=exact)
    assert up_to_ending(low, ending) <= up_to_ending(high, ending)


@given(endings)
def test_an_ending_written_and_read_is_the_same(ending: Ending) -> None:
    assert read_ending(str(ending)) == ending
