"""This week's question to the planner, made of the book: what may be made, the hours, places, moulds and materials there are.

A week is a calendar of working hours by role; a rack place or a mould counts for as many nights as the calendar has days.
A batch that rests takes a place a planned piece for every begun day of rest. What nobody counted does not limit anything.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from costbook.amounts.quantity import same_name, unit
from costbook.book.model import Material
from costbook.costing.buying import Offer, offers
from costbook.costing.candidates import TIME, Candidate, Candidates, Pack, Resource
from costbook.costing.checks import Priced
from costbook.costing.days import RACK, Calendar, Job, OrderOfWork, job, order_of_work
from costbook.costing.plan import Clock, Plan, best_plan
from costbook.costing.restock import MARGIN, QueueRow, cash, nights, ordered, queue
from costbook.costing.stock import counted, in_her_unit
from costbook.costing.tiers import pricers
from costbook.costing.usage import mix_grams
from costbook.errors import CostbookError

RACK_NIGHTS, MIXES = "rack places x nights", "mixes"


@dataclass(frozen=True)
class Week:
    """What there is to work with.

    `moulds` says by product which mould a batch takes and how many, `mould_count` how many there are of each. `mixes` is
    how often the mixer can be filled, None for no limit. `budget` is the money for packs, None for buying nothing, of
    suppliers who deliver within `lead_days` (None: whoever). `surplus` is how many pieces beyond what is wanted still
    count at full value; where it is None those that sell in `weeks_ahead` weeks do, and where that is None too, every piece.
    """

    calendar: Calendar
    moulds: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    mould_count: Mapping[str, float] = field(default_factory=dict)
    mixes: float | None = None
    budget: float | None = None
    lead_days: int | None = None
    surplus: float | None = None
    weeks_ahead: float | None = None

    @property
    def hours(self) -> dict[str, float]:
        """Hours by role in all."""
        return {role: math.fsum(days) for role, days in self.calendar.hours.items()}

    @property
    def nights(self) -> int:
        """Nights in the calendar, one after each day."""
        return max((len(days) for days in self.calendar.hours.values()), default=0)


@dataclass(frozen=True)
class Question:
    """What the planner is asked, and in one sentence each why a product is left out of it or cannot be made in time.

    `said` are sentences about what promised pieces count at.
    """

    asked: Candidates
    left_out: Mapping[str, str]
    said: tuple[str, ...] = ()


def question(priced: Priced, week: Week, channel: str = "") -> Question:
    """The week's question. A piece is worth its cash in the channel (the first at retail where none is named).

    A promised piece is worth that of the channel it is promised in.
    """
    rows = {r.code: r for r in queue(priced, channel, week.moulds, week.calendar).rows}
    left_out: dict[str, str] = {}
    found, said = _with_promises(priced, [_candidate(priced, week, row, left_out) for row in rows.values()])
    resources = _resources(priced, week)
    named = {r.name for r in resources}
    candidates = tuple(_limited(c, named, rows[c.name]) for c in found)
    return Question(Candidates(candidates, tuple(resources), week.budget), left_out, tuple(said))


def plan_week(
    priced: Priced, week: Week, limit: float = 10.0, clock: Clock | None = None, channel: str = ""
) -> tuple[Plan, Question]:
    """The best plan of the week, and what was asked."""
    asked = question(priced, week, channel)
    return best_plan(asked.asked, limit, clock), asked


def work_of(priced: Priced, plan: Plan, week: Week, order: Iterable[str] = ()) -> OrderOfWork:
    """The plan's batches day by day, products in that order first, the others behind in the plan's own."""
    book = priced.book
    counts = {name: round(n) for name, n in plan.batches.items()}
    names = [*(n for n in order if n in counts), *(n for n in counts if n not in set(order))]
    jobs: list[Job] = [job(book, name, week.moulds) for name in names for _ in range(counts[name])]
    room = dict(week.mould_count)
    if book.settings.rack_places is not None:
        room[RACK] = float(book.settings.rack_places)
    on_hand = {code: float(p.on_hand) for code, p in book.products.items() if p.on_hand}
    return order_of_work(jobs, week.calendar, room, on_hand)


def in_plan_order(rows: Iterable[QueueRow], plan: Plan) -> list[QueueRow]:
    """The queue in the plan's order: what it makes, most money first, then what is wanted and not made, by margin."""
    kept = {m.name: m.value for m in plan.made if m.batches}
    listed = list(rows)
    made = sorted((r for r in listed if r.code in kept), key=lambda r: (-kept[r.code], r.code))
    return made + [r for r in ordered(listed, MARGIN) if r.code not in kept]


# ------------------------------------------------------------ candidates


def _candidate(priced: Priced, week: Week, row: QueueRow, left_out: dict[str, str]) -> Candidate:
    """One product as the planner sees it. One that cannot be made is there with no batches: sets may take its stock."""
    product = priced.book.products[row.code]
    most: float | None = None
    uses: dict[str, float] = {}
    parts: dict[str, float] = {}
    try:
        uses, parts = _uses(priced, week, row)
    except CostbookError as error:
        most, left_out[row.code] = 0.0, f"{row.code}: what it takes cannot be told: {error.sentence}"
    if row.worth.cash is None:
        most, left_out[row.code] = 0.0, f"{row.code} has no cost or no price, so nothing tells what it keeps."
    elif product.trying:
        most = 0.0
    elif row.season_end and row.ships is not None and row.ships.date() > row.season_end:
        most, left_out[row.code] = 0.0, f"{row.code} could not ship before its season ends on {row.season_end}."
    wanted = float(row.waiting + row.promised + priced.book.settings.shelf_weeks * row.sold_per_week)
    beyond = week.surplus
    if beyond is None and week.weeks_ahead is not None:
        beyond = week.weeks_ahead * float(row.sold_per_week)
    return Candidate(
        row.code, row.worth.cash or 0.0, uses, float(max(product.good, 1)), most, float(row.on_hand),
        0.0 if product.trying else float(row.promised), None if beyond is None else wanted + beyond, parts,
    )  # fmt: skip


def _with_promises(priced: Priced, found: Iterable[Candidate]) -> tuple[list[Candidate], list[str]]:
    """The candidates with what a promised piece keeps in the channel it is promised in, and sentences where that is not known."""
    book, said, worth = priced.book, list[str](), list[Candidate]()
    named, unnamed = {same_name(p.channel.name): p for p in pricers(book)}, list[str]()
    for c in found:
        product, value = book.products[c.name], None
        pricer = named.get(same_name(product.promised_in))
        if c.promised > 0 and not product.promised_in:
            unnamed.append(c.name)
        elif c.promised > 0:
            value = cash(product, priced.costs.get(c.name), pricer) if pricer else None
            if value is None:
                lacks = "that has no price for it" if pricer else "which is not on the Channels tab"
                said.append(f"{c.name} is promised in {product.promised_in}, {lacks}: its promised pieces count at the retail price.")
        worth.append(replace(c, promised_value=value))
    if unnamed:
        said.append(f"Promised pieces of {', '.join(unnamed)} count at the retail price, since Promised in on the Products tab is empty.")
    return worth, said


def _uses(priced: Priced, week: Week, row: QueueRow) -> tuple[dict[str, float], dict[str, float]]:
    """What one batch takes by resource, and the pieces of other products."""
    book, product = priced.book, priced.book.products[row.code]
    used, parts = priced.usage.batch_takes(row.code)
    uses: dict[str, float] = {priced.book.called(role): minutes / 60 for role, minutes in priced.usage.batch_minutes(product).items() if minutes}
    for (category, item), amount in used.items():
        if category not in ("labour", "overhead") and item in book.materials and counted(book.materials[item]) is not None:
            name = _label(priced, item)
            uses[name] = uses.get(name, 0.0) + in_her_unit(book.materials[item], amount)[0]
    rests = nights(product.rest_hours)
    if rests and book.settings.rack_places is not None:
        uses[RACK_NIGHTS] = float(product.planned * rests)
    if row.code in week.moulds:
        mould, count = week.moulds[row.code]
        uses[_mould(mould)] = count * max(1, rests)
    grams = sum(mix_grams(priced.usage, product, part) for part in product.parts if part.kind == "recipe")
    if week.mixes is not None and grams > 0:
        uses[MIXES] = float(math.ceil(round(grams / (book.settings.mixer_g or grams), 9)))
    return uses, parts


def _limited(candidate: Candidate, named: set[str], row: QueueRow) -> Candidate:
    """The candidate without what nothing is said of; one that nothing limits gets the batches it needs as its most."""
    uses = {name: amount for name, amount in candidate.uses.items() if name in named}
    most = candidate.most
    if most is None and not any(amount > 0 for amount in uses.values()):
        most = float(row.batches_in_all)
    return replace(candidate, uses=uses, most=most)


# ------------------------------------------------------------ resources


def _label(priced: Priced, code: str) -> str:
    """A material's name, with its code where two have the same name."""
    name = priced.book.materials[code].name
    alike = sum(1 for m in priced.book.materials.values() if m.name == name)
    return name if alike == 1 else f"{name} ({code})"


def _mould(name: str) -> str:
    return f"mould {name} x nights"


def _resources(priced: Priced, week: Week) -> list[Resource]:
    book = priced.book
    working = {step.role for step in book.steps}
    found = [
        Resource(book.called(role), week.hours.get(role, 0.0), TIME, "hours", step=1.0, step_text="one hour")
        for role in book.roles
        if role in working or role in week.hours
    ]
    if book.settings.rack_places is not None:
        there = float(book.settings.rack_places * week.nights)
        found.append(Resource(RACK_NIGHTS, there, "rack", step=float(week.nights), step_text="one place"))
    for name in sorted({mould for mould, _ in week.moulds.values()}):
        there = week.mould_count.get(name, 0.0) * week.nights
        found.append(Resource(_mould(name), there, "mould", step=float(week.nights), step_text="one mould"))
    if week.mixes is not None:
        found.append(Resource(MIXES, week.mixes, "mixer", step_text="one mix"))
    on_offer = offers(priced) if week.budget is not None else {}
    more, more_text = _more_weight(book.settings.measures)
    for code, material in book.materials.items():
        held = counted(material)
        if held is None:
            continue
        pieces = material.base == "each"
        packs = tuple(_pack(material, o) for o in on_offer.get(code, ()) if _in_time(o, week))
        there, counted_in = in_her_unit(material, held)
        step = 1.0 if pieces else in_her_unit(material, more)[0]
        found.append(Resource(_label(priced, code), there, "material", counted_in, packs, step, "one" if pieces else more_text))
    return found


def _pack(material: Material, offer: Offer) -> Pack:
    return Pack(in_her_unit(material, offer.holds)[0], offer.price, offer.supplier, offer.lead_days, text=offer.text)


def _in_time(offer: Offer, week: Week) -> bool:
    """Whether it is there in time; a supplier without lead days only where none are asked for."""
    return week.lead_days is None or (offer.lead_days is not None and offer.lead_days <= week.lead_days)


def _more_weight(measures: str) -> tuple[float, str]:
    """What one more of a weighed material means, in grams: a pound where she measures so, else 100 g."""
    return (float(unit("lb").factor), "one pound") if measures in ("US customary", "imperial") else (100.0, "100 g")
