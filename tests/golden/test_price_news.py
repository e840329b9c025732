"""A supplier raises its prices: seen in the workbook, decided there, accepted, taken back, told to shops.

Expected numbers: the shared table `price_news_effect_expected`, made by an oracle that shares no code with this program.
"""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
from shared_files import printed, rows

from costbook import cli, commands

Copy = Any
DAY = date(2026, 10, 26)
EXPECTED = "demo/tables/price_news_effect_expected.csv"
CHANGED, DECISIONS, RISES, LOG, STATE = "What changed", "Price decisions", "Supplier rises", "Price log", "Accepted state"


@pytest.fixture
def seen(book: Copy) -> Copy:
    """The demo after a look at what its announced prices do."""
    commands.changed(book.save(), today=DAY)
    return book


def decisions(book: Copy, channel: str = "Wholesale") -> dict[str, dict[str, Any]]:
    return {r["Code"]: r for r in book.written(DECISIONS)[0] if r["Channel"] == channel}


def decide(book: Copy, code: str, heading: str, value: object) -> str:
    return str(book.type(DECISIONS, heading, (code, "Wholesale"), value))


def test_every_figure_of_the_expected_table_stands_in_the_workbook(seen: Copy) -> None:
    changed = {r["Code"]: r for r in seen.written(CHANGED)[0] if r["Code"].startswith("P")}
    decided, wrong = decisions(seen), []
    for expected in rows(EXPECTED):
        code = expected["Code"]
        row, price = changed[code], decided[code]
        found = {
            "Cost now": row["Cost now"], "Rise": row["Rise"], "Cost after": row["Cost after"],
            "Wholesale margin % now": price["Margin now"] * 100, "Wholesale margin % after": price["Margin after"] * 100,
            "A year at present sales": row["A year at present sales"],
            "Wholesale price that keeps the margin (up to 0.05)": price["Price that keeps today's margin"],
        }  # fmt: skip
        found |= {h: row[h] or 0 for h in expected if h.startswith("from ")}
        wrong += [f"{code} {h}: table {expected[h]}, found {v}" for h, v in found.items() if printed(v, expected[h]) != expected[h]]
        under = price["How it stands after"].startswith("under floor")
        wrong += [f"{code}: {expected['Against the 30 % floor']}"] if under != (expected["Against the 30 % floor"] == "UNDER") else []
    assert wrong == [] and len(changed) == len(rows(EXPECTED)) == 14


def test_supplier_rises_are_the_letter_s_the_dearest_first(seen: Copy) -> None:
    """price_news.csv; what each costs a year is its column of the expected table x sold a week x 52, the table's own a year over its rise."""
    found = {r["Code"]: r for r in seen.written(RISES)[0]}
    for new in rows("demo/tables/price_news.csv"):
        row = found[new["Code"]]
        figures = {
            "Pack price now": row["Pack price now"], "Pack price from 1 Nov": row["Pack price then"], "Rise per unit % (goods)": row["Rise a unit"] * 100,
            "Landed per oz now": row["Landed now"], "Landed per oz after": row["Landed then"],
        }  # fmt: skip
        assert {h: printed(v, new[h]) for h, v in figures.items()} == {h: new[h] for h in figures}
        assert (row["Per"], row["Pack now"], row["Pack then"], row["Supplier"]) == ("oz", new["Pack now"], new["Pack from 1 Nov"], new["Supplier"])
        effects = [(float(r[f"from {row['Material']}"]), r) for r in rows(EXPECTED) if float(r["Rise"])]
        assert row["Products it is in"] == len([effect for effect, _ in effects if effect])
        assert row["A year at present sales"] == pytest.approx(sum(e / float(r["Rise"]) * float(r["A year at present sales"]) for e, r in effects), abs=0.05)
    years = [r["A year at present sales"] for r in found.values()]
    assert years == sorted(years, reverse=True) and found["M14"] is next(iter(found.values()))


def test_what_changed_is_sorted_and_its_chart_shows_what_rises(seen: Copy) -> None:
    expected = {r["Code"]: r for r in rows(EXPECTED)}
    changed = [r for r in seen.written(CHANGED)[0] if r["Code"].startswith("P")]
    assert [r["Code"] for r in changed] == sorted(expected, key=lambda code: -float(expected[code]["Rise"]))
    for row in changed:
        assert row["Rise, share"] == pytest.approx(float(expected[row["Code"]]["Rise"]) / float(expected[row["Code"]]["Cost now"]), abs=1e-6)
    workbook = openpyxl.load_workbook(seen.path)
    (bars,) = workbook[CHANGED]._charts[0].series  # rows 4 to 16: all but P09, which no rise touches
    assert bars.val.numRef.f.replace("$", "").endswith("!E4:E16")
    (bars,) = workbook[RISES]._charts[0].series
    assert bars.val.numRef.f.replace("$", "").endswith("!O4:O9")


def test_decisions_show_what_is_kept_the_price_at_target_and_the_sales_that_may_be_lost(seen: Copy) -> None:
    """channels_expected and tier_summary_expected, before and after the news.

    P06 at 4.50 keeps 1.078846 after, and 0.381739 is overhead that goes on; 4.80 may cost 0.30 / (1.460585 + 0.30) of the sales.
    """
    for channel, price, target in (("Wholesale", "Wholesale now", "Wholesale target (up to 0.25)"), ("Web", "Retail now", "Retail to use (higher of the two)")):
        decided = decisions(seen, channel)
        tables = {(r["Prices"], r["Code"]): r for r in rows("demo/tables/channels_expected.csv")}
        for tier in rows("demo/tables/tier_summary_expected.csv"):
            row, when = decided[tier["Code"]], tier["Prices"]
            kept = row["Kept now, share" if when == "today" else "Kept after, share"]
            assert kept == pytest.approx(float(tables[when, tier["Code"]][channel]) / float(tier[price]), abs=1e-6)
            if when == "after news":
                assert row["Price at target"] == float(tier[target])
    assert decisions(seen)["P06"]["Sales you may lose"] == pytest.approx(0.30 / (1.460585 + 0.30), abs=1e-6)
    assert decisions(seen)["P09"]["Sales you may lose"] is None, "its cost does not change"


def test_the_edge_pair_falls_on_either_side_of_the_floor(seen: Copy) -> None:
    """P03 ends at 30.0023 % and P07 at 29.9569 %; both print as 30.0 %."""
    decided = decisions(seen)
    assert not decided["P03"]["How it stands after"].startswith("under floor")
    assert decided["P07"]["How it stands after"] == "under floor (newly)"
    newly = {code for code, row in decided.items() if "newly" in row["How it stands after"]}
    assert newly == {"P06", "P07"}


def test_nothing_of_hers_moves_and_a_second_look_writes_nothing(book: Copy) -> None:
    hers = ("Products", "Materials", "Announced prices", "Purchases", "Channels")
    before = [openpyxl_rows(book.path, tab) for tab in hers]
    assert commands.changed(book.path, today=DAY).written
    assert [openpyxl_rows(book.path, tab) for tab in hers] == before
    assert not commands.changed(book.path, today=DAY).written


def test_accepted_prices_move_are_logged_and_can_be_taken_back(seen: Copy) -> None:
    decide(seen, "P06", "Decision", "keep margin")
    decide(seen, "P06", "Reason", "letter of October")
    decide(seen, "P06", "From", datetime(2026, 11, 1))
    decide(seen, "P06", "Old price for orders until", datetime(2026, 11, 15))
    decide(seen, "P10", "Or your new price", 6.5)
    decide(seen, "P10", "From", datetime(2026, 10, 26))  # the book's own day
    decide(seen, "P01", "Decision", "hold")
    decide(seen, "P01", "From", datetime(2026, 10, 1))  # no matter for a hold
    path = seen.save()
    as_decided = path.read_bytes()
    done = commands.accept(path, today=DAY)
    assert done.held == 1
    assert [(f.level, f.sentence) for f in done.findings] == [  # the demo's Start tab wants retail at twice wholesale
        ("warn", "P06: retail 9.00 is less than 2 times wholesale 4.80: undercuts the shops"),
        ("warn", "P10: retail 12.00 is less than 2 times wholesale 6.50: undercuts the shops"),
    ]
    assert done.moved == (("P06", "wholesale", Decimal("4.5"), Decimal("4.8")), ("P10", "wholesale", Decimal(6), Decimal("6.5")))
    products = {r["Code"]: r["Wholesale now"] for r in seen.written("Products")[0]}
    assert (products["P06"], products["P10"], products["P01"]) == (4.8, 6.5, 7.75)
    log = {r["Code"]: r for r in openpyxl_rows(path, LOG)}
    assert (log["P06"]["Old price"], log["P06"]["New price"], log["P06"]["Reason"]) == (4.5, 4.8, "letter of October")
    assert log["P06"]["From"] == datetime(2026, 11, 1) and log["P06"]["Old price for orders until"] == datetime(2026, 11, 15)
    assert log["P10"]["Accepted"] == datetime(2026, 10, 26)
    assert {r["Code"]: r["Decision"] for r in openpyxl_rows(path, DECISIONS) if r["Decision"] or r["Or your new price"] or r["From"]} == {"P01": "hold"}
    commands.takeback(path)
    assert path.read_bytes() == as_decided


def openpyxl_rows(path: Any, tab: str) -> list[dict[str, Any]]:
    sheet = openpyxl.load_workbook(path, data_only=True)[tab]
    headings, *found = list(sheet.iter_rows(min_row=3, values_only=True))
    return [dict(zip(headings, row, strict=True)) for row in found if any(v is not None for v in row)]


def test_since_accepted_splits_a_change_so_that_it_adds_up(seen: Copy) -> None:
    commands.accept(seen.save(), today=DAY)
    seen.type("Pay", "Pay an hour", "owner", 24)
    seen.type("Products", "Good pieces", "P06", 24)
    seen.type_recipe("R3", "Amount", "Foaming powder (SLSA)", 24)
    commands.changed(seen.save(), today=DAY)
    rows = {r["Code"]: r for r in seen.written("Since accepted")[0]}
    one = rows["P06"]
    parts = ("Good pieces", "Recipe", "Packaging", "Labour minutes", "Overhead minutes", "Prices paid", "Pay", "Overhead rate")
    assert sum(one[p] for p in parts) == pytest.approx(one["Cost now"] - one["Cost then"], abs=1e-9)
    assert one["Good pieces"] < 0 < one["Recipe"] and one["Pay"] > 0 and one["Packaging"] == pytest.approx(0, abs=1e-12)
    assert sum(rows["P08"][p] for p in parts) == pytest.approx(rows["P08"]["Pay"], abs=1e-9)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"Decision": "raise it"}, '"raise it" is no decision'),
        ({"Decision": "keep margin", "Or your new price": 5}, "which of the two?"),
        ({"Or your new price": -1}, "P06: -1.00 is no price"),
        ({"Or your new price": "about five"}, 'the cell holds the text "about five"'),
        ({"Decision": "hold", "From": "soon"}, 'a date belongs here; the cell holds "soon"'),
        ({"Decision": "keep margin", "From": datetime(2026, 10, 25)}, 'P06: "From" 2026-10-25 is before the book\'s day, 2026-10-26'),
        (
            {"Or your new price": 5, "From": datetime(2026, 12, 15), "Old price for orders until": datetime(2026, 12, 1)},
            'P06: "Old price for orders until" 2026-12-01 is before the new price starts, 2026-12-15',
        ),
        (
            {"Or your new price": 5, "Old price for orders until": datetime(2025, 11, 15)},
            'P06: "Old price for orders until" 2025-11-15 is before the book\'s day, 2026-10-26',
        ),
    ],
)
def test_a_decision_that_cannot_be_used_moves_nothing(seen: Copy, typed: dict[str, object], says: str) -> None:
    decide(seen, "P10", "Decision", "keep margin")
    for heading, value in typed.items():
        decide(seen, "P06", heading, value)
    path = seen.save()
    before = path.read_bytes()
    done = commands.accept(path, today=DAY)
    assert any(says in f.sentence for f in done.findings) and done.moved == ()
    assert path.read_bytes() == before


def test_two_decisions_on_one_price_and_a_price_that_changed_since_are_told(seen: Copy) -> None:
    seen.type(DECISIONS, "Decision", ("P01", "Web"), "keep margin")
    seen.type(DECISIONS, "Decision", ("P01", "Online"), "hold")
    path = seen.save()
    done = commands.accept(path, today=DAY)
    assert done.moved == () and any("P01: 16.25 in Web and hold in Online: two decisions on its retail price" in f.sentence for f in done.findings)
    seen.type(DECISIONS, "Decision", ("P01", "Online"), None)
    seen.type("Products", "Retail now", "P01", 15.75)
    done = commands.accept(seen.save(), today=DAY)
    assert done.moved == () and any("is not what this row was written for" in f.sentence for f in done.findings)


@pytest.mark.parametrize(
    ("heading", "value", "says"),
    [
        ("Material", "Cocoa buter", 'no such material; nearest: Cocoa butter'),
        ("From", datetime(2026, 10, 1), "is in force already on the book's day"),
        ("New price per pack", 0, "is no price"),
        ("New price per pack", "dear", 'the cell holds the text "dear"'),
        ("Material", "Beeswax pellets", "2 announced prices"),
    ],
)
def test_an_announced_price_that_cannot_be_used_is_one_sentence(book: Copy, heading: str, value: object, says: str) -> None:
    place = book.type("Announced prices", heading, ("Cocoa butter",), value)
    told = commands.changed(book.save(), today=DAY)
    (found,) = [f for f in told.findings if says in f.sentence]
    assert found.where and found.where.tab == "Announced prices" and place.startswith("Announced prices")
    assert commands.price(book.save(), today=DAY).findings.count(found) == 1


def test_a_rise_with_a_plus_is_read_and_one_that_is_none_is_told(book: Copy) -> None:
    """Beeswax pellets at 12.40 a pack; a rise of 20 % as in the letter's own words, then the price it has."""
    book.type("Announced prices", "New price per pack", "Beeswax pellets", None)
    place = book.type("Announced prices", "Or the rise", "Beeswax pellets", "+20 %")
    told = commands.changed(book.save(), today=DAY)
    assert told.findings == () and float(told.impact.news["M04"].price_after) == pytest.approx(12.40 * 1.2)
    book.type("Announced prices", "Or the rise", "Beeswax pellets", None)
    book.type("Announced prices", "New price per pack", "Beeswax pellets", 12.4)
    (found,) = commands.changed(book.save(), today=DAY).findings
    assert (found.level, found.sentence) == ("note", "Beeswax pellets: what is announced is what it costs now; nothing follows")
    assert found.where and found.where.tab == place.split("!")[0]


def test_a_day_that_cannot_be_read_is_asked_and_its_price_is_still_seen(book: Copy) -> None:
    book.type("Announced prices", "From", ("Cocoa butter",), "next month")
    told = commands.changed(book.save(), today=DAY)
    assert [(f.level, f.sentence) for f in told.findings] == [("ask", 'a date belongs here; the cell holds "next month"')]
    assert f"{told.impact.a_year:.2f}" == "935.46"


def test_a_price_or_pack_that_cannot_be_read_stops_that_row_alone(book: Copy) -> None:
    """935.46 a year by the letter; 720.21 of it cocoa butter (column "from Cocoa butter" x sold a week x 52, over the line)."""
    for heading, value in (("New price per pack", "dear"), ("New pack size", "a sack")):
        place = book.type("Announced prices", heading, ("Cocoa butter",), value)
        told = commands.changed(book.save(), today=DAY)
        assert [(f.level, str(f.where)) for f in told.findings] == [("stop", place)] and "M14" not in told.impact.news
        assert told.impact.a_year == pytest.approx(935.46 - 720.21, abs=0.01)
        book.type("Announced prices", "New price per pack", ("Cocoa butter",), 30.9)


def test_a_rise_typed_as_20_for_20_percent_is_asked(book: Copy) -> None:
    book.type("Announced prices", "New price per pack", ("Cocoa butter",), None)
    book.type("Announced prices", "Or the rise", ("Cocoa butter",), 20)
    told = commands.changed(book.save(), today=DAY)
    assert any("20 in this cell is 2000 %, not 20 %" in f.sentence for f in told.findings)
    book.type("Announced prices", "Or the rise", ("Cocoa butter",), 0.309)
    told = commands.changed(book.save(), today=DAY)
    assert told.impact.news["M14"].goods_rise == pytest.approx(0.309)


def test_shops_see_prices_above_the_floor_and_never_a_cost(seen: Copy) -> None:
    decide(seen, "P06", "Decision", "keep margin")
    path = seen.save()
    commands.accept(path, today=DAY)
    assert commands.shops(path, today=DAY) == (True, ["P09", "P10", "P12", "P13", "P14"])
    assert commands.shops(path, today=DAY)[0] is False
    sheet = {r["Code"]: r for r in openpyxl_rows(path, "Line sheet")}
    # Under the wholesale floor today, by the demo's own table: P09, P10, P12, P13, P14.
    assert set(sheet) == {"P01", "P02", "P03", "P04", "P05", "P06", "P07", "P08", "P11"}
    assert sheet["P06"]["Wholesale"] == 4.8 and sheet["P06"]["Suggested retail"] == 9
    (notice,) = openpyxl_rows(path, "Price notice")
    assert (notice["Code"], notice["Wholesale until then"], notice["New wholesale"]) == ("P06", 4.5, 4.8)
    workbook = openpyxl.load_workbook(path)
    costs = {round(r["Unit cost"], 2) for r in openpyxl_rows(path, "Costs") if isinstance(r["Unit cost"], float)}
    shown = {c.value for tab in ("Line sheet", "Price notice") for row in workbook[tab].iter_rows() for c in row}
    assert not any(isinstance(v, float) and round(v, 2) in costs for v in shown)
    assert "cost" not in " ".join(str(v).lower() for v in shown)


@pytest.mark.office
def test_shops_get_a_pdf(book: Copy, tmp_path: Any) -> None:
    import pdfplumber

    pdf = tmp_path / "for shops.pdf"
    assert cli.main(["shops", str(book.save()), "--pdf", str(pdf)]) == 0
    with pdfplumber.open(pdf) as pages:
        text = pages.pages[0].extract_text()
    assert "P01" in text and "7.75" in text and "valid until" in text


def test_a_pdf_goes_over_no_file_and_a_refusal_writes_nothing(book: Copy, tmp_path: Any, capsys: Any) -> None:
    """What is there may be what a shop was sent, or no PDF of ours at all: it stays, and so does the workbook."""
    sent = tmp_path / "for shops.pdf"
    sent.write_bytes(b"as sent in October")
    before = book.save().read_bytes()
    for pdf, said in (
        (sent, "for shops.pdf is there already; it is not overwritten. Choose another name, or move that one away first."),
        (tmp_path / "none" / "x.pdf", f"there is no folder {tmp_path / 'none'}. Make it first, or name another."),
        (tmp_path / "x.xlsx", "x.xlsx is no name for a PDF. Let it end in .pdf."),
    ):
        assert cli.main(["shops", str(book.path), "--pdf", str(pdf)]) == 4
        assert capsys.readouterr().err == f"costbook: {said}\n"
    assert sent.read_bytes() == b"as sent in October" and book.path.read_bytes() == before


def test_a_workbook_that_cannot_be_written_leaves_no_pdf_in_the_way(book: Copy, tmp_path: Any, monkeypatch: Any) -> None:
    pdf = tmp_path / "x.pdf"
    path = book.save()
    (path.parent / f".~lock.{path.name}#").write_text(",somebody,elsewhere,26.10.2026 10:00,file:///x;")
    monkeypatch.setattr("costbook.hosts.office.printed", lambda tabs: b"%PDF-")
    assert cli.main(["shops", str(path), "--pdf", str(pdf)]) == 4 and not pdf.exists()


def test_without_an_office_program_a_pdf_costs_one_sentence(book: Copy, tmp_path: Any, monkeypatch: Any, capsys: Any) -> None:
    monkeypatch.setattr("shutil.which", lambda name: None)
    assert cli.main(["shops", str(book.save()), "--pdf", str(tmp_path / "x.pdf")]) == 4
    assert "no office program was found" in capsys.readouterr().err


def test_what_is_printed_names_the_rise_and_the_year(book: Copy, capsys: Any) -> None:
    assert cli.main(["changed", str(book.save())]) == 0
    told = capsys.readouterr().out
    assert "6 announced prices together cost 935.46 USD a year" in told and "Wholesale (newly)" in told
    assert cli.main(["accept", str(book.path)]) == 0
    assert "Nothing was decided, so nothing moved; this state of costs is kept" in capsys.readouterr().out  # the first state is kept
    assert cli.main(["accept", str(book.path)]) == 0
    assert "Nothing was decided" in capsys.readouterr().out


def test_a_decision_survives_a_column_taken_out_and_a_slip_moves_nothing(seen: Copy) -> None:
    decide(seen, "P06", "Or your new price", 5)
    sheet = seen.workbook[DECISIONS]
    sheet.cell(3, seen.heading(DECISIONS, "Decision").column).value = "Was decided"
    assert commands.accept(seen.save(), today=DAY).moved == (("P06", "wholesale", Decimal("4.5"), Decimal(5)),)
    for price, says in ((0.01, "is under the"), (13.337, "no price in whole cents"), (650, "650.00 is 108 times the 6.00 of now")):
        commands.changed(seen.path, today=DAY)
        decide(seen, "P10", "Or your new price", price)
        done = commands.accept(seen.save(), today=DAY)
        assert done.moved == () and any(says in f.sentence for f in done.findings)
        decide(seen, "P10", "Or your new price", None)
        seen.save()


def test_without_a_heading_that_is_needed_nothing_is_moved_and_it_is_said(seen: Copy) -> None:
    decide(seen, "P06", "Decision", "keep margin")
    seen.workbook[DECISIONS].cell(3, seen.heading(DECISIONS, "Price now").column).value = "Now"
    done = commands.accept(seen.save(), today=DAY)
    assert done.moved == () and "has no heading Price now" in done.findings[0].sentence


def test_the_same_price_again_is_no_news_for_shops(seen: Copy) -> None:
    decide(seen, "P06", "Or your new price", 4.5)
    path = seen.save()
    assert commands.accept(path, today=DAY).moved == ()
    commands.shops(path, today=DAY)
    assert openpyxl_rows(path, "Price notice")[0]["Code"] == "none"


def test_terms_are_those_typed_and_the_day_it_is_valid_until(seen: Copy) -> None:
    """Typed on Start: packs of 6, 200.00 and 100.00, valid for 30 days, so until the 25th of November; then leaves within 5 days too."""
    commands.shops(seen.save(), today=DAY)
    terms = "Packs of 6; first order from 200.00 USD; next orders from 100.00 USD; prices in USD, valid until 2026-11-25."
    assert openpyxl.load_workbook(seen.path)["Line sheet"]["A2"].value == terms


def line_sheet(book: Copy, on: datetime) -> dict[str, tuple[Any, ...]]:
    """The prices of the line sheet written on a day, and what it says is to come."""
    book.setting("Book date", on)
    commands.shops(book.save(), today=DAY)
    sheet = openpyxl_rows(book.path, "Line sheet")
    return {r["Code"]: (r["Wholesale"], r["Suggested retail"], r.get("Price to come")) for r in sheet}


def test_no_price_stands_on_the_line_sheet_before_its_day(seen: Copy) -> None:
    """P06 sells at 4.50 and 9.00 until the 15th of November, then at 4.80, and at 9.50 from the 1st of December."""
    decide(seen, "P06", "Decision", "keep margin")
    decide(seen, "P06", "From", datetime(2026, 11, 15))
    seen.type(DECISIONS, "Or your new price", ("P06", "Web"), 9.5)
    seen.type(DECISIONS, "From", ("P06", "Web"), datetime(2026, 12, 1))
    commands.accept(seen.save(), today=DAY)
    assert line_sheet(seen, datetime(2026, 10, 26))["P06"] == (4.5, 9, "from 2026-11-15: wholesale 4.80; from 2026-12-01: retail 9.50")
    assert line_sheet(seen, datetime(2026, 11, 14))["P06"][0] == 4.5
    assert line_sheet(seen, datetime(2026, 11, 15))["P06"] == (4.8, 9, "from 2026-12-01: retail 9.50")
    assert line_sheet(seen, datetime(2026, 12, 1))["P06"] == (4.8, 9.5, None)
    assert line_sheet(seen, datetime(2026, 10, 26))["P01"][2] is None


def test_a_later_acceptance_that_starts_sooner_takes_the_place_of_the_first(seen: Copy) -> None:
    """Accepted at 4.80 for the 15th, three days later at 5.00 for the 1st: the 15th brings nothing, and 4.80 never was a price."""
    decide(seen, "P06", "Decision", "keep margin")
    decide(seen, "P06", "From", datetime(2026, 11, 15))
    commands.accept(seen.save(), today=DAY)
    seen.setting("Book date", datetime(2026, 10, 29))
    decide(seen, "P06", "Or your new price", 5)
    decide(seen, "P06", "From", datetime(2026, 11, 1))
    assert commands.accept(seen.save(), today=DAY).moved == (("P06", "wholesale", Decimal("4.8"), Decimal(5)),)
    assert line_sheet(seen, datetime(2026, 10, 29))["P06"] == (4.5, 9, "from 2026-11-01: wholesale 5.00")
    (notice,) = openpyxl_rows(seen.path, "Price notice")
    assert (notice["Wholesale until then"], notice["New wholesale"], notice["From"]) == (4.5, 5, datetime(2026, 11, 1))
    assert line_sheet(seen, datetime(2026, 11, 15))["P06"] == (5, 9, None)


def test_the_floor_is_that_of_the_price_of_today(seen: Copy) -> None:
    """P10 is under the wholesale floor at 6.00; 9.00 from the 15th is over it, and the sheet offers it from that day on."""
    decide(seen, "P10", "Or your new price", 9)
    decide(seen, "P10", "From", datetime(2026, 11, 15))
    commands.accept(seen.save(), today=DAY)
    assert "P10" not in line_sheet(seen, datetime(2026, 11, 14))
    assert line_sheet(seen, datetime(2026, 11, 15))["P10"][0] == 9


def test_a_price_on_the_line_sheet_is_over_the_floor_or_not_there(seen: Copy) -> None:
    """P11 wholesale has a margin of 35.2 % (the expected table): with a floor of 35 % it is offered, of 36 % not."""
    for floor, offered in ((0.35, True), (0.36, False)):
        seen.type("Channels", "Floor", "Wholesale", floor)
        assert ("P11" not in commands.shops(seen.save(), today=DAY)[1]) is offered
        assert ("P11" in {r["Code"] for r in seen.written("Line sheet")[0]}) is offered


def test_a_hold_and_a_reason_not_used_yet_stay_as_typed(seen: Copy) -> None:
    decide(seen, "P06", "Decision", "keep margin")
    decide(seen, "P06", "Reason", "letter of October")
    decide(seen, "P01", "Decision", "hold")
    decide(seen, "P01", "Reason", "best seller, wait for spring")
    decide(seen, "P03", "Reason", "ask the fair first")
    assert commands.accept(seen.save(), today=DAY).held == 1
    left = {code: (r["Decision"], r["Reason"]) for code, r in decisions(seen).items() if r["Decision"] or r["Reason"]}
    assert left == {"P01": ("hold", "best seller, wait for spring"), "P03": (None, "ask the fair first")}
    done = commands.accept(seen.path, today=DAY)
    assert (done.moved, done.held, done.findings, done.kept) == ((), 0, (), False)
    assert done.standing == (("P01", "wholesale", Decimal("7.75")),)


def test_a_price_counted_before_its_day_is_named_with_the_day_wherever_it_counts(seen: Copy, capsys: Any) -> None:
    decide(seen, "P13", "Or your new price", 10.25)
    decide(seen, "P13", "From", datetime(2026, 11, 15))
    path = seen.save()
    assert cli.main(["accept", str(path)]) == 0
    assert "P13: wholesale 9.00 -> 10.25 from 2026-11-15: shops see it from then on" in capsys.readouterr().out
    words = "wholesale price of P13 starts on 2026-11-15 and is counted already"
    assert words in openpyxl.load_workbook(path)["Prices"]["A2"].value
    assert not commands.price(path).written, "accept leaves a book that says all of it"
    for command in ("price", "changed", "next"):
        cli.main([command, str(path), *(["--plan", "--seconds", "1"] if command == "next" else [])])
        assert words in capsys.readouterr().out
    workbook = openpyxl.load_workbook(path)
    for tab in ("Prices", DECISIONS, "What else to do", "Make next"):
        assert words in workbook[tab]["A2"].value, tab
    assert any(words in str(c.value) for tab in ("Findings", "Plan") for row in workbook[tab].iter_rows() for c in row)
    seen.setting("Book date", datetime(2026, 11, 15))
    outcome = commands.price(seen.save())
    assert all(words not in f.sentence for f in outcome.findings) and words not in openpyxl.load_workbook(path)["Prices"]["A2"].value


def test_a_hold_is_counted_once_and_stands_from_then_on(seen: Copy, capsys: Any) -> None:
    """A second run with nothing but that hold writes nothing, so the state of costs to compare with stays that of the day it was accepted."""
    decide(seen, "P01", "Decision", "hold")
    path = seen.save()
    assert cli.main(["accept", str(path)]) == 0
    assert "0 prices moved, 1 held" in capsys.readouterr().out
    as_held = path.read_bytes()
    assert cli.main(["accept", str(path)]) == 0
    said = capsys.readouterr().out
    assert "P01: wholesale stays held at 7.75, as decided before" in said and "Nothing new was decided, so nothing moved." in said
    assert path.read_bytes() == as_held
    commands.changed(path, today=DAY)
    decide(seen, "P03", "Decision", "hold")
    done = commands.accept(seen.save(), today=DAY)
    assert (done.held, done.standing, done.kept) == (1, (("P01", "wholesale", Decimal("7.75")),), True)
    seen.type("Products", "Wholesale now", "P01", 8.0)
    commands.changed(seen.save(), today=DAY)
    done = commands.accept(seen.path, today=DAY)
    assert (done.held, {code for code, *_ in done.standing}) == (1, {"P03"}), "at another price it is another hold"


def test_a_day_without_a_decision_is_asked_and_holds_nothing_up(seen: Copy) -> None:
    decide(seen, "P06", "From", datetime(2026, 11, 15))
    decide(seen, "P10", "Or your new price", 6.5)
    done = commands.accept(seen.save(), today=DAY)
    assert [(f.level, f.sentence) for f in done.findings if f.level == "ask"] == [("ask", "P06: a day and no decision; its wholesale price in Wholesale stays as it is")]
    assert done.moved == (("P10", "wholesale", Decimal(6), Decimal("6.5")),)
    assert decisions(seen)["P06"]["From"] == datetime(2026, 11, 15)


def test_a_line_sheet_has_no_empty_columns_and_one_drawn_under_older_headings_is_drawn_anew(seen: Copy) -> None:
    commands.shops(seen.save(), today=DAY)
    headings = [c.value for c in openpyxl.load_workbook(seen.path)["Line sheet"][3]]
    assert headings == ["Code", "Product", "Wholesale", "Suggested retail", "Packs of"]
    seen.type("Products", "Size", "P01", "4 oz")
    seen.workbook["Price notice"].cell(3, 3).value = "Wholesale until now"
    assert commands.shops(seen.save(), today=DAY)[0]
    assert {r["Code"]: r["Size"] for r in openpyxl_rows(seen.path, "Line sheet")}["P01"] == "4 oz"
    assert openpyxl.load_workbook(seen.path)["Price notice"].cell(3, 3).value == "Wholesale until then"


def test_two_rows_of_one_price_are_one_decision_with_the_days_and_reasons_of_both(seen: Copy) -> None:
    """Web and Online sell at P01's retail price: 15.75 in both rows, the day beside one of them, a reason beside each."""
    for channel, reason in (("Web", "letter"), ("Online", "fees")):
        seen.type(DECISIONS, "Or your new price", ("P01", channel), 15.75)
        seen.type(DECISIONS, "Reason", ("P01", channel), reason)
    seen.type(DECISIONS, "From", ("P01", "Web"), datetime(2026, 11, 15))
    seen.type(DECISIONS, "From", ("P01", "Online"), datetime(2026, 11, 16))
    done = commands.accept(seen.save(), today=DAY)
    assert [f.sentence for f in done.findings] == ['P01: "From" is 2026-11-15 and 2026-11-16 for its retail price, and it is one price']
    seen.type(DECISIONS, "From", ("P01", "Online"), None)
    assert commands.accept(seen.save(), today=DAY).moved[0][:2] == ("P01", "retail")
    (log,) = openpyxl_rows(seen.path, LOG)
    assert log["From"] == datetime(2026, 11, 15) and set(log["Reason"].split("; ")) == {"letter", "fees"}
    assert not any(r["Or your new price"] or r["Reason"] for r in openpyxl_rows(seen.path, DECISIONS))


def test_after_accepting_no_tab_tells_of_the_price_before(seen: Copy) -> None:
    """P06 at 4.50 is under the floor once the letter holds, so there are ways out of it; at 5.00 it is not."""
    assert "P06" in {r["Code"] for r in seen.written("What else to do")[0]}
    decide(seen, "P06", "Or your new price", 5)
    commands.accept(seen.save(), today=DAY)
    assert "P06" not in {r["Code"] for r in seen.written("What else to do")[0]}
    assert not commands.changed(seen.path, today=DAY).written


def test_each_price_on_the_notice_has_its_own_days_and_waits_for_its_day(seen: Copy) -> None:
    """P06 is accepted on one day to start later, P10 three days after: shops are told of both, each with its own days.

    Beside P06's price of the 15th stands the retail price of that day, 9.50 from the 10th.
    """
    decide(seen, "P06", "Decision", "keep margin")
    seen.type(DECISIONS, "Or your new price", ("P06", "Web"), 9.5)
    seen.type(DECISIONS, "From", ("P06", "Web"), datetime(2026, 11, 10))
    decide(seen, "P06", "From", datetime(2026, 11, 15))
    decide(seen, "P06", "Old price for orders until", datetime(2026, 11, 30))
    commands.accept(seen.save(), today=DAY)
    seen.setting("Book date", datetime(2026, 10, 29))
    decide(seen, "P10", "Or your new price", 6.5)
    assert commands.accept(seen.save(), today=DAY).moved
    commands.shops(seen.path, today=DAY)
    notice = {r["Code"]: (r["From"], r["Old price for orders until"]) for r in openpyxl_rows(seen.path, "Price notice")}
    assert notice["P06"] == (datetime(2026, 11, 15), datetime(2026, 11, 30)) and notice["P10"][1] is None
    assert {r["Code"]: r["Suggested retail"] for r in openpyxl_rows(seen.path, "Price notice")} == {"P06": 9.5, "P10": 12}


def test_a_decision_on_no_product_of_the_book_says_so(seen: Copy) -> None:
    decide(seen, "P06", "Decision", "keep margin")
    seen.type(DECISIONS, "Code", ("P06", "Wholesale"), "P66")
    before = seen.save().read_bytes()
    done = commands.accept(seen.path, today=DAY)
    assert [f.sentence for f in done.findings] == ['"P66" is no product of this book'] and done.moved == ()
    assert seen.path.read_bytes() == before


def test_a_price_that_looks_like_a_slip_is_told_at_the_cell_it_was_typed_in(seen: Copy) -> None:
    place = decide(seen, "P06", "Or your new price", 2)
    (found,) = commands.accept(seen.save(), today=DAY).findings
    assert str(found.where) == place and "is under the 2.97 a piece costs" in found.sentence


def test_an_announced_price_without_a_material_and_a_total_that_leaves_one_out_say_so(book: Copy, capsys: Any) -> None:
    place = book.type("Announced prices", "Material", "Beeswax pellets", None)
    assert cli.main(["changed", str(book.save())]) == 1
    said = capsys.readouterr().out
    assert f"{place}: an announced price, and no material is named" in said and "; what cannot be used is not in it." in said
    assert "5 announced prices together cost " in said and f"then: costbook accept {book.path}" in said


def test_since_accepted_shows_no_change_where_there_is_none(seen: Copy) -> None:
    decide(seen, "P06", "Decision", "hold")
    commands.accept(seen.save(), today=DAY)
    commands.changed(seen.path, today=DAY)
    moved = [v for r in seen.written("Since accepted")[0] for h, v in r.items() if h not in ("Code", "Product", "Cost then", "Cost now")]
    assert moved and set(moved) == {0}


def test_a_product_without_a_price_is_named_beside_those_that_change(book: Copy, capsys: Any) -> None:
    book.type("Products", "In the line", "P08", "dropped")
    assert cli.main(["changed", str(book.save())]) == 1
    said = capsys.readouterr().out
    assert "Not in it, without a price: P14." in said and "P14 takes P08, which is dropped" in said


def test_with_one_or_nothing_announced_changed_says_so_and_what_to_do(book: Copy, capsys: Any) -> None:
    sheet = book.workbook["Announced prices"]
    top = book.heading("Announced prices", "Material")
    for row in sheet.iter_rows(min_row=top.row + 2):
        for cell in row:
            cell.value = None
    assert cli.main(["changed", str(book.save())]) == 0
    assert "\n1 announced price costs " in capsys.readouterr().out
    assert openpyxl.load_workbook(book.path)[CHANGED]["A2"].value.startswith("1 announced price costs ")
    sheet = book.workbook["Announced prices"]
    for row in sheet.iter_rows(min_row=top.row + 1):
        for cell in row:
            cell.value = None
    assert cli.main(["changed", str(book.save())]) == 0
    said = capsys.readouterr().out
    assert "No price is announced: type what a supplier announces on the Announced prices tab." in said
    assert "a year at present sales" not in said and "costbook accept" not in said


def test_a_rise_is_answered_once(seen: Copy) -> None:
    """The price accepted for a rise keeps the margin over what pieces will cost: the same rise asks for no more."""
    heading, shown = "Price that keeps today's margin", decisions(seen)
    wanted = {code: shown[code][heading] for code in ("P01", "P06", "P10")}
    assert all(wanted[code] > shown[code]["Price now"] for code in wanted)
    for code in ("P06", "P10"):
        decide(seen, code, "Decision", "keep margin")
    path = seen.save()
    commands.accept(path, today=DAY)
    later = type(seen)(path)
    for _ in range(2):
        rows = {r["Code"]: r for r in openpyxl_rows(path, DECISIONS) if r["Channel"] == "Wholesale"}
        assert {code: rows[code][heading] for code in wanted} == wanted
        assert [rows[code]["Price now"] for code in ("P06", "P10")] == [wanted["P06"], wanted["P10"]]
        decide(later, "P01", "Decision", "hold")
        commands.accept(later.save(), today=DAY)
        commands.changed(path, today=DAY)
    hand = type(seen)(path)
    hand.type("Products", "Wholesale now", ("P06",), 5.5)
    commands.changed(hand.save(), today=DAY)
    [row] = [r for r in openpyxl_rows(path, DECISIONS) if r["Channel"] == "Wholesale" and r["Code"] == "P06"]
    assert row[heading] > 5.5, "a price typed by hand was accepted for no rise"
