"""The tool's own tabs: Costs, Prices, Landed rates, Cost trace and Findings, as whole tabs to put.

Rows come from what was computed; how a tab looks comes from `layout.py`. Formulas stand where they help her play: margin
beside a trial price, and usage x rate in the trace, each with the tool's own result stored beside the formula.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from costbook.amounts.numbers import counted
from costbook.book import layout
from costbook.book.grid import (
    Cell,
    Chart,
    Formula,
    Highlight,
    PutTab,
    Series,
    Snapshot,
    Value,
    address,
    column_name,
    shown_values,
)
from costbook.book.layout import Tab
from costbook.book.model import Book, Channel
from costbook.book.table import find_table, plain_text
from costbook.book.tool_tabs import COSTS, FINDINGS, PRICES, RATES, TOOL_TABS, TRACE
from costbook.costing.checks import Priced
from costbook.costing.rates import Rate
from costbook.costing.tiers import Pricer, Tier, pricers
from costbook.costing.trace import TraceLine, trace_lines
from costbook.costing.usage import CATEGORIES, Cost
from costbook.errors import LEVELS, Finding, Where, WriteRefused
from costbook.printouts.marks import typed_over
from costbook.printouts.tabs import (
    FIRST,
    OUNCE_G,
    all_rows,
    cells_of,
    counted_early,
    put,
    rounded_off,
    shown_name,
    shown_per,
)

CHART_PRODUCTS = 40
COSTS_HINT = "What one good piece costs, in book currency. A product without a figure has a finding that says why."
PRICES_HINT = "Proposals only: your own prices are never changed. Type a trial price to see its margin at once. Shares are of the price without tax."
RATES_HINT = "What one unit costs in hand, from the paper named: goods after discount plus its share of freight and fees."
Known = dict[tuple[str, ...], Mapping[str, Value]]
TRACE_ALL = 100


def result_tabs(priced: Priced, findings: Sequence[Finding], snapshot: Snapshot) -> list[PutTab]:
    """Costs, Prices, Landed rates, Cost trace and Findings of one run; her trial prices in the snapshot are kept."""
    return [*(tab.put() for tab in figure_tabs(priced, snapshot)), findings_tab(findings)]


class ResultTab(NamedTuple):
    """A result tab before it is drawn. Most runs find it in the workbook already, and need none of it held at once.

    `rows` makes its rows one by one, `put` the whole tab with its look.
    """

    name: str
    rows: Callable[[], Iterable[Sequence[Cell]]]
    put: Callable[[], PutTab]

    def stands(self, snapshot: Snapshot) -> bool:
        """Whether the workbook shows just this tab."""
        grid = snapshot.grid(self.name)
        return grid is not None and grid.shows(map(shown_values, self.rows()))


def figure_tabs(priced: Priced, snapshot: Snapshot) -> list[ResultTab]:
    """The result tabs that hold figures; her trial prices in the snapshot are kept."""
    trials = trial_prices(snapshot)
    return [
        ResultTab(COSTS.name, lambda: all_rows(COSTS, COSTS_HINT, _costs_rows(priced), True), lambda: costs_tab(priced)),
        ResultTab(PRICES.name, lambda: all_rows(PRICES, _prices_hint(priced), _prices_rows(priced, trials), True), lambda: prices_tab(priced, trials)),
        ResultTab(RATES.name, lambda: all_rows(RATES, RATES_HINT, _rates_rows(priced), True), lambda: rates_tab(priced)),
        ResultTab(TRACE.name, lambda: all_rows(TRACE, _trace_hint(priced), _trace_rows(priced)), lambda: trace_tab(priced)),
    ]  # fmt: skip


def refuse_hers(snapshot: Snapshot) -> None:
    """Refuses a book in which a tab of hers bears the name of one of the tool's: it would be replaced.

    A tab is the tool's when its headings are, wherever they stand; an empty one may be taken.

    Raises:
        WriteRefused: such a tab of hers, named.
    """
    for tab in TOOL_TABS:
        grid = snapshot.grid(tab.name)
        if grid is None or not any(cell not in (None, "") for cells in grid.rows for cell in cells):
            continue
        if find_table(grid, [c._replace(needed=True) for c in tab.columns[:4]]) is None:
            do = "Rename it; the tool writes a tab of that name."
            raise WriteRefused(f"the tab {grid.name} is yours, not the tool's", Where(grid.name), do)


def typed_over_cells(priced: Priced, snapshot: Snapshot, standing: Collection[str] = ()) -> list[Finding]:
    """The tool's cells she typed over since the last run, with what the tool says.

    Args:
        standing: the tabs known to hold, marks included, just what this run came to: nothing was typed over there.
    """

    def costs() -> Known:
        return {(code,): dict(zip(_keys(COSTS), _cost_values(priced, x), strict=True)) for code, x in priced.costs.items()}

    def prices() -> Known:
        return {(t.product, t.channel): _price_values(priced.book, t) for t in priced.tiers}

    def rates() -> Known:
        found = priced.rates.materials.items()
        return {(code,): dict(zip(_keys(RATES), _rate_values(priced.book, x), strict=True)) for code, x in found}

    looked_at = ((COSTS, ("code",), costs), (PRICES, ("code", "channel"), prices), (RATES, ("code",), rates))
    return [
        finding for tab, keys, said in looked_at if tab.name not in standing for finding in typed_over(snapshot, tab, keys, said())
    ]  # fmt: skip


def _keys(tab: Tab) -> list[str]:
    return [c.key for c in tab.columns]


TRACE_PLACE = {c.key: place for place, c in enumerate(TRACE.columns)}
TRIAL_LETTERS = {key: column_name(PRICES.place(key)) for key in ("trial", "unit_cost", "channel_cost")}


# ------------------------------------------------------------------- costs


def costs_tab(priced: Priced) -> PutTab:
    """A row per product with its cost by kind, the range, and a stacked chart of the build-up."""
    rows = list(_costs_rows(priced))
    charts = [_build_up(min(len(priced.costs), CHART_PRODUCTS), len(rows))] if priced.costs else []
    return put(COSTS, COSTS_HINT, rows, charts, marks=True)


def _costs_rows(priced: Priced) -> Iterator[list[Cell]]:
    for cost in priced.costs.values():
        yield cells_of(COSTS, _cost_values(priced, cost))
    for code, product in priced.book.products.items():
        if code not in priced.costs:
            yield _no_price(code, shown_name(product), len(COSTS.columns))


def _no_price(code: str, name: str, columns: int) -> list[Cell]:
    return [
        Cell(code, "tool text"),
        Cell(name, "tool text"),
        Cell("no price: see Findings", "flag stop"),
        *[Cell(None, "tool text")] * (columns - 3),
    ]


def _cost_values(priced: Priced, cost: Cost) -> list[Value]:
    product = priced.book.products[cost.product]
    return [
        cost.product, shown_name(product), *(cost.parts[c] for c in CATEGORIES), cost.unit_cost, cost.lowest, cost.highest,
        min(cost.choices), max(cost.choices), cost.batch_cost, cost.good, cost.piece_minutes, sum(cost.batch_minutes.values()),
    ]  # fmt: skip


def _build_up(count: int, rows: int) -> Chart:
    first = COSTS.place("materials")
    series = tuple(
        Series((2, first + i), (FIRST, first + i, FIRST + count - 1, first + i), layout.SERIES[i])
        for i in range(len(CATEGORIES))
    )
    height = max(8.0, 0.62 * count + 3.0)
    return Chart(
        "stacked bar",
        "What a good piece costs",
        (FIRST, 0, FIRST + count - 1, 0),
        series,
        (FIRST + rows + 1, 0),
        26.0,
        height,
        "cost of one good piece",
    )


# ------------------------------------------------------------------- prices


def prices_tab(priced: Priced, trials: Mapping[tuple[str, str], Value]) -> PutTab:
    """A row per product and channel, the channels one after the other, with her trial prices and a chart of margins."""
    rows = list(_prices_rows(priced, trials))
    starts: dict[str, int] = {}
    before = FIRST
    for name, found in _by_channel(priced).items():
        starts[name] = before
        before += len(found)
    charts = _margin_chart(priced, starts, len(rows))
    # On paper a trial price only where she typed one: more columns would print too small.
    printed = PRICES.place("trial_kept" if trials else "flag") + 1
    return put(PRICES, _prices_hint(priced), rows, charts, _flag_highlights(len(rows)), marks=True, printed=printed)


def _prices_hint(priced: Priced) -> str:
    return PRICES_HINT + counted_early(priced)


def _by_channel(priced: Priced) -> dict[str, list[Tier]]:
    found: dict[str, list[Tier]] = {name: [] for name in priced.book.channels}
    for tier in priced.tiers:
        found[tier.channel].append(tier)
    return found


def _prices_rows(priced: Priced, trials: Mapping[tuple[str, str], Value]) -> Iterator[list[Cell]]:
    ready = {p.channel.name: p for p in pricers(priced.book)}
    row = FIRST
    for name, found in _by_channel(priced).items():
        for tier in found:
            yield _price_row(priced.book, tier, ready[name], row, trials.get((tier.product, tier.channel)))
            row += 1


def _price_values(book: Book, tier: Tier) -> dict[str, Value]:
    return {
        "code": tier.product, "name": shown_name(book.products[tier.product]), "channel": tier.channel, "unit_cost": tier.unit_cost,
        "channel_cost": tier.channel_cost, "floor": _money(tier.floor_price), "exact": tier.exact_shown, "proposal": _money(tier.proposal),
        "proposal_margin": tier.proposal_margin, "proposal_kept": tier.proposal_kept, "her_price": _money(tier.her_price),
        "margin": tier.margin, "kept": tier.kept, "kept_fraction": tier.kept_fraction, "day_pieces": tier.day_pieces, "flag": tier.flag,
        "compare": _money(tier.compare), "compare_materials": _money(tier.compare_materials),
    }  # fmt: skip


def _money(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _price_row(book: Book, tier: Tier, pricer: Pricer, row: int, trial: Value) -> list[Cell]:
    values: dict[str, Value | Formula] = {**_price_values(book, tier), "trial": trial}
    values |= _trial_formulas(tier, pricer, row, trial)
    return cells_of(PRICES, [values[c.key] for c in PRICES.columns])


def _trial_formulas(tier: Tier, pricer: Pricer, row: int, trial: Value) -> dict[str, Value | Formula]:
    """Margin and kept beside the trial price, live: the same sums as the tool's, over the cells of the row."""
    cell = {key: f"{letters}{row + 1}" for key, letters in TRIAL_LETTERS.items()}
    net = f"{cell['trial']}/{1 + pricer.tax:.12g}" if pricer.tax else cell["trial"]
    fee = f"-{cell['trial']}*{pricer.fee:.12g}" if pricer.channel.fee_on_shown else f"-{net}*{pricer.fee:.12g}"
    typed = isinstance(trial, int | float) and not isinstance(trial, bool) and trial > 0
    at = pricer.net(float(trial)) if typed else None  # type: ignore[arg-type]
    margin = f'IF(N({cell["trial"]})<=0,"",({net}-{cell["unit_cost"]})/({net}))'
    kept = f'IF(N({cell["trial"]})<=0,"",{net}{fee if pricer.fee else ""}-{cell["channel_cost"]}-{cell["unit_cost"]})'
    return {
        "trial_margin": Formula(margin, "" if at is None else (at - tier.unit_cost) / at),
        "trial_kept": Formula(kept, "" if at is None else pricer.kept(at, tier.unit_cost)),
    }


def trial_prices(snapshot: Snapshot) -> dict[tuple[str, str], Value]:
    """What she typed as trial prices on the Prices tab, by product and channel; a text is kept as she left it."""
    grid = snapshot.grid(PRICES.name)
    table = (
        find_table(grid, [c._replace(needed=c.key in ("code", "channel", "trial")) for c in PRICES.columns])
        if grid
        else None
    )
    if grid is None or table is None:
        return {}
    found: dict[tuple[str, str], Value] = {}
    for index in range(table.heading_row + 1, len(grid.rows)):
        value = grid.value(index, table.columns["trial"])
        if value not in (None, ""):
            name = tuple(plain_text(grid.value(index, table.columns[k])) for k in ("code", "channel"))
            found[(name[0], name[1])] = value
    return found


def _flag_highlights(rows: int) -> list[Highlight]:
    place = PRICES.place("flag")
    area = (FIRST, place, FIRST + max(rows, 1) - 1, place)
    cell = f"${column_name(place)}{FIRST + 1}"
    styles = (
        ("under cost", "flag stop"),
        ("under floor", "flag stop"),
        ("under target", "flag warn"),
        ("ok", "flag good"),
    )
    return [Highlight(area, f'{cell}="{word}"', style) for word, style in styles]


def _margin_chart(priced: Priced, starts: Mapping[str, int], rows: int) -> list[Chart]:
    """Margin at her prices per product: one column for wholesale, one for the first retail channel."""
    count = min(len(priced.costs), CHART_PRODUCTS)
    margin = PRICES.place("margin")
    shown = _one_of_each([c for c in priced.book.channels.values() if c.price])
    series = tuple(
        Series(
            (starts[c.name], PRICES.place("channel")),
            (starts[c.name], margin, starts[c.name] + count - 1, margin),
            layout.SERIES[i * 3],
        )
        for i, c in enumerate(shown)
    )
    if not series or not count:
        return []
    labels = (starts[shown[0].name], 0, starts[shown[0].name] + count - 1, 0)
    return [
        Chart(
            "column",
            "Margin at your prices now",
            labels,
            series,
            (FIRST + rows + 1, 0),
            26.0,
            10.0,
            "margin, share of the price",
            "0%",
        )
    ]


def _one_of_each(channels: Sequence[Channel]) -> list[Channel]:
    found: dict[str, Channel] = {}
    for channel in channels:
        found.setdefault(channel.price, channel)
    return list(found.values())


# ------------------------------------------------------------------- rates


def rates_tab(priced: Priced) -> PutTab:
    """A row per material with its landed rate and what it is made of."""
    return put(RATES, RATES_HINT, list(_rates_rows(priced)), marks=True)


def _rates_rows(priced: Priced) -> Iterator[list[Cell]]:
    for rate in priced.rates.materials.values():
        yield cells_of(RATES, _rate_values(priced.book, rate))
    for code in priced.rates.missing:
        yield _no_price(code, priced.book.materials[code].name, len(RATES.columns))


def _rate_values(book: Book, rate: Rate) -> list[Value]:
    material, line = book.materials[rate.material], rate.line
    per, grams = shown_per(book, material)
    if line is None:
        return [
            material.code,
            material.name,
            rate.rule,
            per,
            rate.per_base * grams,
            None,
            None,
            None,
            None,
            None,
            "quoted",
            material.quoted_from,
            "",
            material.weight_source,
        ]
    charges = float(line.charges)
    return [
        material.code, material.name, rate.rule, per, rate.per_base * grams, line.list_rate * grams, float(line.goods), charges, float(line.tax),
        charges / float(line.landed) if line.landed else 0.0, line.line.paper, line.line.date, line.line.source or str(line.line.where), material.weight_source,
    ]  # fmt: skip


# ------------------------------------------------------------------- trace


def traced(priced: Priced) -> list[str]:
    """The products the trace tab shows: those named in the settings, else all while there are few enough."""
    wanted = priced.book.settings.trace.strip()
    if wanted and wanted.casefold() != "all":
        return [code for code in (w.strip() for w in wanted.replace(";", ",").split(",")) if code in priced.costs]
    codes = list(priced.costs)
    return codes if wanted or len(codes) <= TRACE_ALL else codes[:1]


def trace_tab(priced: Priced) -> PutTab:
    """For each traced product its lines of usage x rate with formulas, then their sum beside the tool's figure."""
    return put(TRACE, _trace_hint(priced), list(_trace_rows(priced)))


def _trace_hint(priced: Priced) -> str:
    left = len(priced.costs) - len(traced(priced))
    more = f" {counted(left, 'more product')}: name {'it' if left == 1 else 'them'} under 'Cost trace shows' on the Start tab." if left else ""
    return "Usage x rate, line by line; a recalculation gives the tool's own figure." + more


def _trace_rows(priced: Priced) -> Iterator[list[Cell]]:
    row = FIRST
    for code in traced(priced):
        first = row
        for line in trace_lines(priced.usage, priced.rates, code):
            yield _trace_row(priced, code, line, row)
            row += 1
        yield _trace_total(priced, code, first, row)
        row += 1


def _trace_row(priced: Priced, code: str, line: TraceLine, row: int) -> list[Cell]:
    source = line.source.line.line if line.source and line.source.line else None
    unit, size = (
        ("oz", OUNCE_G) if line.unit == "g" and priced.book.settings.measures == "US customary" else (line.unit, 1.0)
    )
    usage, rate = rounded_off(line.usage / size), rounded_off(line.rate * size)
    assert isinstance(usage, float) and isinstance(rate, float)
    product = Formula(f"{address(row, TRACE.place('usage'))}*{address(row, TRACE.place('rate'))}", usage * rate)
    paper = (
        source.paper
        if source
        else ("quoted" if line.source else "Pay tab" if line.category == "labour" else "Start tab")
    )
    cells = cells_of(TRACE, [code, line.category, line.name, usage, unit, rate, product, paper, source.date if source else None,
                                   (source.source or str(source.where)) if source else "", None])  # fmt: skip
    if source:
        cells[TRACE_PLACE["row"]] = cells[TRACE_PLACE["row"]]._replace(link=source.where, style="link")
    return cells


def _trace_total(priced: Priced, code: str, first: int, row: int) -> list[Cell]:
    cost, place = priced.costs[code].unit_cost, TRACE_PLACE["cost"]
    total = Formula(f"SUM({address(first, place)}:{address(row - 1, place)})", cost)
    values: list[Value | Formula] = [
        code,
        "unit cost",
        priced.book.products[code].name,
        None,
        "",
        None,
        total,
        "",
        None,
        "",
        cost,
    ]
    return [Cell(rounded_off(v), f"total {c.kind}") for c, v in zip(TRACE.columns, values, strict=True)]


# ------------------------------------------------------------------- findings, review


def findings_tab(findings: Sequence[Finding]) -> PutTab:
    """A row per finding, the gravest first, each a link to its cell; a green line where there is none."""
    order = {level: i for i, level in enumerate(LEVELS)}
    rows = []
    for f in sorted(findings, key=lambda f: order[f.level]):
        where = Cell(str(f.where or ""), "link" if f.where else "tool text", f.where)
        rows.append(
            [
                Cell(f.level, f"level {f.level}"),
                Cell(_sentence(f), "tool wrapped"),
                where,
                Cell(f.do, "tool wrapped"),
                Cell(", ".join(f.about), "tool wrapped"),
            ]
        )
    if not rows:
        rows = [
            [
                Cell("fine", "good"),
                Cell("Nothing to look at: every product has a price and no check found anything.", "good"),
                *[Cell(None, "good")] * 3,
            ]
        ]
    return put(
        FINDINGS,
        "stop: no price comes out of it. ask: priced on the reading stated. warn: priced, look at it. note: to know.",
        [*rows, _notice()],
    )


def _notice() -> list[Cell]:
    return [Cell(None, "plain"), Cell(layout.NOTICE, "small print"), *[Cell(None, "plain")] * 3]


def findings_now(snapshot: Snapshot) -> list[Finding]:
    """The findings the tab holds from the run before."""
    grid = snapshot.grid(FINDINGS.name)
    table = (
        find_table(grid, [c._replace(needed=c.key in ("level", "sentence")) for c in FINDINGS.columns])
        if grid
        else None
    )
    if grid is None or table is None:
        return []
    found = []
    for index in range(table.heading_row + 1, len(grid.rows)):
        text = {k: plain_text(grid.value(index, p)) for k, p in table.columns.items()}
        tab, _, cell = text["where"].partition("!")
        if text["level"] in LEVELS:
            found.append(Finding(text["level"], "", text["sentence"], Where(tab, cell) if tab else None, text["do"]))
    return found


def _sentence(finding: Finding) -> str:
    return finding.sentence[:1].upper() + finding.sentence[1:]
