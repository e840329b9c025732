"""Small books for the published examples: items at a quoted price, work, activities, lots bought, papers typed as rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from records import replace

from costbook.amounts.quantity import Amount, unit
from costbook.book import layout
from costbook.book.grid import Snapshot, Value
from costbook.book.model import (
    Activity,
    Book,
    Channel,
    Material,
    Part,
    Product,
    PurchaseLine,
    Role,
    Settings,
    Step,
)
from costbook.book.reading import read_book
from costbook.book.sheets import table_tab
from costbook.costing.rates import PaperSums, papers, rates
from costbook.costing.usage import Cost, Usage, costs
from costbook.errors import Where

ON = date(2026, 6, 1)
HERE = Where("Example", "A1")
Number = int | float | Fraction | Decimal


def exact(value: Number | str) -> Fraction:
    """The number as printed: 3.5 is 7/2 and not the nearest float."""
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


def money(value: Number) -> Decimal:
    """The number as printed, as money."""
    return Decimal(repr(value)) if isinstance(value, float) else Decimal(value)


def pieces(count: Number, name: str = "each") -> Amount:
    usual = exact(count)
    return Amount(f"{usual} {name}", unit(name), usual, usual, usual)


def item(code: str, price: Number = 0, kind: str = "packaging", name: str = "each") -> Material:
    """Something bought by the piece (or by another unit) at a quoted price."""
    return Material(
        code=code, name=code, kind=kind, supplier="", g_per_ml=None, weight_source="", waste_fraction=0.0,
        rate_rule="quoted", quoted_price=money(price), quoted_pack=pieces(1, name), quoted_from=None, quoted_less=(),
        usual_pack=None, aliases=(), cautions="", on_hand=None, where=HERE, base="each" if name == "each" else "g",
    )  # fmt: skip


def take(kind: str, code: str, count: Number = 1, *, per_batch: bool = False) -> Part:
    return Part(kind, code, pieces(count), per_batch, HERE)


def made(code: str, *takes: Part, batch: int = 1, family: str = "") -> Product:
    """A product of which a batch makes so many, all of them good."""
    return Product(code, code, takes, {}, family, batch, batch, {}, HERE)


def work(family: str, pay: Number, minutes: Number) -> tuple[Role, Step]:
    """Somebody paid so much an hour, and the minutes a piece of that family takes."""
    name = f"maker of {family}"
    return Role(name, money(pay), Decimal(0), HERE), Step(family, "making", name, 0.0, float(minutes), 0.0, HERE)


def activity(name: str, per_year: Number, times: Number = 1) -> Activity:
    return Activity(name, money(per_year), money(times), HERE)


def book(
    products: Iterable[Product], items: Iterable[Material] = (), done: Iterable[tuple[Role, Step]] = (),
    activities: Iterable[Activity] = (), bought: Sequence[PurchaseLine] = (), settings: Settings | None = None,
) -> Book:  # fmt: skip
    labour = list(done)
    return Book(
        settings or Settings(book_date=ON), {}, {m.code: m for m in items}, tuple(bought), {}, {p.code: p for p in products},
        {role.name: role for role, _ in labour}, tuple(step for _, step in labour), {},
        activities={a.name: a for a in activities},
    )  # fmt: skip


def worked(made_up: Book) -> dict[str, Cost]:
    """The costs of every product of a book; nothing may be missing."""
    found, findings = costs(Usage(made_up), rates(made_up, ON))
    assert not findings and set(found) == set(made_up.products)
    return found


def set_cost(counts: Sequence[Number], each: Sequence[Number]) -> float:
    """What a set costs that is made of so many pieces of products costing so much each."""
    inside = [made(f"P{i}", take("packaging", f"K{i}")) for i in range(len(counts))]
    whole = made("SET", *(take("product", f"P{i}", count) for i, count in enumerate(counts)))
    return worked(book([*inside, whole], [item(f"K{i}", price) for i, price in enumerate(each)]))["SET"].unit_cost


# ------------------------------------------------------------------ purchases


def bought_line(kind: str, amount: Number, **more: object) -> PurchaseLine:
    plain = PurchaseLine(
        supplier="Supplier", paper="1", paper_type="invoice", date=ON, kind=kind, item_code="", description="",
        material="", packs=Decimal(0), pack=None, pack_price=None, amount=money(amount), shared_by="", covers="",
        currency="USD", currency_rate=None, lot="", best_before=None, counts=None, source="", where=HERE,
    )  # fmt: skip
    return replace(plain, **more)  # type: ignore[arg-type]


def lots(bought: Sequence[Sequence[Number]], rule: str, on_hand: Number) -> Book:
    """A book of one item bought in lots of (count, price), oldest first, valued by that rule."""
    lines = [
        bought_line("goods", count * price, material="GOODS", packs=money(count), pack=pieces(1), paper=str(i),
                    date=ON - timedelta(100 - i))
        for i, (count, price) in enumerate(bought)
    ]  # fmt: skip
    held = replace(item("GOODS"), rate_rule=rule, on_hand=pieces(on_hand), quoted_price=None, quoted_pack=None)
    return book([], [held], bought=lines)


def typed_paper(*rows: Mapping[str, Value]) -> PaperSums:
    """The sums of one paper whose lines are typed into Purchases as rows by column key."""
    typed = {"Purchases": [{"supplier": "Supplier", "paper": "1", "date": ON, **row} for row in rows]}
    tabs = [table_tab(tab, typed.get(tab.name, [])) for tab in layout.HER_TABS]
    read = read_book(Snapshot("book", {tab.name: tab.grid() for tab in tabs}))
    [sums] = papers(read)
    return sums


def channel(**more: object) -> Channel:
    """A way of selling that takes nothing, but for what is said."""
    plain = Channel(
        name="Shop", price="wholesale", fee_fraction=Decimal(0), fee_on_shown=True, per_item=Decimal(0),
        per_order=Decimal(0), order_minutes=Decimal(0), order_role="", pieces_per_order=Decimal(0), per_day=Decimal(0),
        pieces_per_day=Decimal(0), tax_fraction=Decimal(0), target_fraction=None, target_counts="margin",
        floor_fraction=None, floor_counts="margin", ending=None, smallest_order=None, where=HERE,
    )  # fmt: skip
    return replace(plain, **more)  # type: ignore[arg-type]
