"""Money as written, rounding, shares and price endings."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from shared_files import rows

from costbook.amounts.money import Ending, allocate, read_ending, read_money, rounded, up_to_ending
from costbook.errors import QuantityError

D = Decimal


@pytest.mark.parametrize(
    ("written", "decimal", "value"),
    [
        ("$52.00 ", "point", "52.00"), ("52,00 €", "comma", "52.00"), ("-4,20", "comma", "-4.20"),
        ("(4.20)", "point", "-4.20"), ("($4.20)", "point", "-4.20"), ("-$4.20", "point", "-4.20"),
        ("$-4.20", "point", "-4.20"), ("4.20-", "point", "-4.20"), ("−4.20", "point", "-4.20"),
        ("1,234.50", "point", "1234.50"), ("1.234,50", "comma", "1234.50"), ("1 234,50 €", "comma", "1234.50"),
        ("1\u202f234,50\u00a0€", "comma", "1234.50"), ("CHF 1'234.50", "point", "1234.50"), ("USD 5", "point", "5"),
        ("5.00 USD", "point", "5.00"), ("US$ 5", "point", "5"), ("£.50", "point", "0.50"), ("12 kr", "comma", "12"),
        ("0", "point", "0"), ("-0.00", "point", "0.00"), ("0.1234", "point", "0.1234"), ("1.250", "comma", "1250"),
    ],
)  # fmt: skip
def test_money_as_written(written: str, decimal: str, value: str) -> None:
    read = read_money(written, decimal)
    assert str(read) == value  # the decimals it was written with are kept


@pytest.mark.parametrize(
    ("written", "decimal"),
    [
        ("4,20", "point"), ("4.20", "comma"), ("", "point"), ("  ", "point"), ("$", "point"), ("abc", "point"),
        ("1,23,456", "point"), ("0,900", "point"), ("5 0", "point"), ("5 EUR EUR", "point"), ("$5 EUR", "point"),
        ("1e5", "point"), ("NaN", "point"), ("Infinity", "point"), ("٣", "point"), ("5..0", "point"), ("--5", "point"),
        ("(-5)", "point"), ("5 each", "point"), ("1/2", "point"), ("9" * 5000, "point"), ("5.00 to 6.00", "point"),
    ],
)  # fmt: skip
def test_what_is_not_clearly_money(written: str, decimal: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_money(written, decimal)
    assert written.strip()[:40] in str(caught.value)


# ---------------------------------------------------------------- rounding


@pytest.mark.parametrize(
    ("value", "places", "result"),
    [
        (D("0.0005"), 3, "0.001"), (D("0.0015"), 3, "0.002"),  # published value P26, half up (Python's decimal module)
        (2.675, 2, "2.68"), (D("2.675"), 2, "2.68"),  # published value P29, decimal half up
        (D("-2.675"), 2, "-2.68"), (Fraction(-2675, 1000), 2, "-2.68"), (Fraction(1, 3), 2, "0.33"),
        (Fraction(2, 3), 4, "0.6667"), (D("-0.001"), 2, "0.00"), (Fraction(-1, 1000), 2, "0.00"), (-0.001, 2, "0.00"),
        (5, 2, "5.00"), (D("1E+3"), 2, "1000.00"), (1e300, 0, "1" + "0" * 300),
        (0.5, 0, "1"), (1.5, 0, "2"), (2.5, 0, "3"), (D("0.004999999999999999999999999999999999"), 2, "0.00"),
    ],
)  # fmt: skip
def test_half_up_away_from_zero(value: Decimal | Fraction | float, places: int, result: str) -> None:
    assert str(rounded(value, places)) == result


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, D("NaN"), D("Infinity")])
def test_what_cannot_be_rounded(value: Decimal | float) -> None:
    with pytest.raises(QuantityError):
        rounded(value)


@pytest.mark.parametrize(("base", "percent", "tax"), [("183.23", 6, "10.99"), ("46.37", 21, "9.74")])
def test_tax_of_the_published_invoice(base: str, percent: int, tax: str) -> None:
    """EN 16931-1 rules BR-CO-17, validation artefacts v1.3.16, example guide-example1 (published value P19)."""
    assert rounded(D(base) * percent / 100) == D(tax)


# ---------------------------------------------------------------- shares


@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        # Largest remainder by hand: exact shares 33.33 1/3 each, the cent left goes to the first.
        ("100.00", [1, 1, 1], ["33.34", "33.33", "33.33"]),
        # 0.05 / 4 = 0.0125 each: 1 cent each, 1 left.
        ("0.05", [1, 1, 1, 1], ["0.02", "0.01", "0.01", "0.01"]),
        # 10 by 1:2:4 = 1.42 6/7, 2.85 5/7, 5.71 3/7: two cents left, to the first two.
        ("10.00", [1, 2, 4], ["1.43", "2.86", "5.71"]),
        ("10.00", [4, 2, 1], ["5.71", "2.86", "1.43"]),
        ("-60.00", [1, 1, 7], ["-6.67", "-6.67", "-46.66"]),
        ("5.00", [0, 1, 0], ["0.00", "5.00", "0.00"]),
        ("0.00", [1, 2], ["0.00", "0.00"]),
        ("1", [0.1, 0.2], ["0.33", "0.67"]),
        ("7.00", [D("1.5"), Fraction(3, 2)], ["3.50", "3.50"]),
    ],
)
def test_shares(total: str, weights: list[float], shares: list[str]) -> None:
    assert [str(share) for share in allocate(D(total), weights)] == shares


def test_demo_landed_charges_sum_to_the_papers_charges() -> None:
    """Freight of 128.00 over goods of the demo paper B-1041, by any weights, loses no cent."""
    lines = [row for row in rows("demo/tables/invoice_lines.csv") if row["Invoice"] == "B-1041" and row["Code"]]
    weights = [D(row["Amount"]) for row in lines]
    assert len(weights) == 21
    assert sum(allocate(D("128.00"), weights)) == D("128.00")


@pytest.mark.parametrize("weights", [[], [0, 0], [1, -1], [math.nan, 1], [math.inf, 1]])
def test_weights_that_share_nothing_out(weights: list[float]) -> None:
    with pytest.raises(ValueError, match="weights"):
        allocate(D("1.00"), weights)


def test_a_total_finer_than_a_cent_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be shared"):
        allocate(D("1.005"), [1, 1])
    assert allocate(D("1.005"), [1, 1], 3) == [D("0.503"), D("0.502")]


# ---------------------------------------------------------------- endings


@pytest.mark.parametrize(
    ("written", "kind", "value", "shown"),
    [
        ("next 0.25", "step", "0.25", "next 0.25"), ("0.25", "step", "0.25", "next 0.25"),
        (0.25, "step", "0.25", "next 0.25"),
        ("Next  0.5", "step", "0.50", "next 0.50"), (1, "step", "1.00", "next 1.00"),
        ("next $0.25", "step", "0.25", "next 0.25"),
        ("next 0.95", "step", "0.95", "next 0.95"), ("ends .95", "cents", "0.95", "ends .95"),
        ("ends in 0.95", "cents", "0.95", "ends .95"), ("Ends in .9", "cents", "0.90", "ends .90"),
        ("ends .00", "cents", "0.00", "ends .00"),
    ],
)  # fmt: skip
def test_endings(written: str | float, kind: str, value: str, shown: str) -> None:
    ending = read_ending(written)
    assert (ending.kind, str(ending.value), str(ending)) == (kind, value, shown)
    assert read_ending(str(ending)) == ending


def test_endings_in_a_comma_book() -> None:
    assert read_ending("ends ,95", "comma") == Ending("cents", D("0.95"))
    assert read_ending(0.25, "comma") == Ending("step", D("0.25"))


@pytest.mark.parametrize(
    "written",
    ["", "x", ".95", 0.95, "ends 95", "ends 1.95", "ends", "next", "next 0", "next -1", "-1", "next 0.125", "ends .955",
     "next 0,25", math.nan, math.inf, "none"],
)  # fmt: skip
def test_what_is_not_clearly_an_ending(written: str | float) -> None:
    with pytest.raises(QuantityError, match=r'Write "next 0\.25"'):
        read_ending(written)


CASES = [("Up to 0.25", "next 0.25"), ("Up to 0.50", "next 0.50"), ("Up to .95", "ends .95")]


@pytest.mark.parametrize(("column", "ending"), CASES)
def test_rounding_cases_of_the_demo(column: str, ending: str) -> None:
    for row in rows("demo/tables/rounding_cases.csv"):
        cost, kept = D(row["Cost"]), D(row["Target share left %"]) / 100
        exact = Fraction(cost) / (1 - Fraction(kept))
        ways = (exact, float(row["Cost"]) / (1 - float(kept)), cost / (1 - kept), D(row["Exact price"]))
        assert [up_to_ending(price, read_ending(ending)) for price in ways] == [D(row[column])] * 4, row["Note"]
        assert rounded(exact, 8) == D(row["Exact price"])


@pytest.mark.parametrize(
    ("price", "ending", "shown"),
    [(0, "next 0.25", "0.00"), (0, "ends .95", "0.95"), (0.95, "ends .95", "0.95"), (0.96, "ends .95", "1.95"),
     (12.0, "ends .00", "12.00"), (12.01, "ends .00", "13.00"), (7.01, "next 5", "10.00"),
     (1e9 + 0.01, "next 1", "1000000001.00")],
)  # fmt: skip
def test_up_to_ending(price: float, ending: str, shown: str) -> None:
    assert str(up_to_ending(price, read_ending(ending))) == shown


def test_no_price_no_ending() -> None:
    with pytest.raises(QuantityError):
        up_to_ending(math.nan, read_ending("next 0.25"))


def test_floats_near_a_tie_round_as_the_decimal_they_print_as() -> None:
    """The quick way by float arithmetic and the exact one agree on either side of every tie, and far from one."""
    for half in [*range(1, 4_000, 2), 199_999_999, 2_000_000_001, 2 * 10**13 + 1]:
        tie = half / 200
        for price in (tie, math.nextafter(tie, 0), math.nextafter(tie, math.inf), tie + 0.0031, tie * 1.7):
            wanted = D(repr(price)).quantize(D("0.01"), ROUND_HALF_UP)
            assert str(rounded(price)) == str(wanted), price
            for ending in ("next 0.05", "ends .99"):
                assert up_to_ending(price, read_ending(ending)) == up_to_ending(D(repr(price)), read_ending(ending)), price
    for eighth in (5e-9, 1.000000005, 4.9500000049999, 6.000000005000001, 12345.678900005):
        assert up_to_ending(eighth, read_ending("next 0.01")) == up_to_ending(D(repr(eighth)), read_ending("next 0.01"))
