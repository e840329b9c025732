"""Where one product's unit cost comes from: the row of usage x rate, and the same as a tree down to the paper and row.

Both are read from the usage matrix and the rates, so they cannot tell another story than the cost itself.
"""

from collections.abc import Iterable
from typing import NamedTuple

from costbook.book.model import Material, Part, Product
from costbook.costing.rates import OVERHEAD, Rate, Rates
from costbook.costing.usage import Usage, batch_minutes, rate_of
from costbook.errors import Where


class TraceLine(NamedTuple):
    """One usage x rate of a product: category, item, usage per good piece in `unit`, rate per that unit, and the paper."""

    category: str
    item: str
    name: str
    usage: float
    unit: str
    rate: float
    source: Rate | None

    @property
    def cost(self) -> float:
        """Usage x rate, in book currency."""
        return self.usage * self.rate


class Node(NamedTuple):
    """One step of the explanation: what it is, how much of it, what it costs a good piece, and what it is made of.

    `written` is the amount as she wrote it. `where` leads to her cell; `paper` says which paper and row a rate is from.
    """

    label: str
    cost: float
    usage: float | None = None
    unit: str = ""
    rate: float | None = None
    written: str = ""
    where: Where | None = None
    paper: str = ""
    inside: tuple["Node", ...] = ()


def trace_lines(usage: Usage, rates: Rates, code: str) -> list[TraceLine]:
    """Every usage x rate of one product's usual row, in the row's order; their costs add up to its unit cost."""
    lines = []
    for key, amount in usage.row(code).bought.items():
        category, item = key
        material = usage.book.materials.get(item) if category not in ("labour", "overhead") else None
        unit = material.base if material else "min" if key == OVERHEAD or category == "labour" else "times"
        source = rates.materials.get(item) if material else None
        name = material.name if material else usage.book.called(item) if category == "labour" else item
        lines.append(TraceLine(category, item, name, amount, unit, rate_of(key, rates), source))
    return lines


def explanation(usage: Usage, rates: Rates, code: str) -> Node:
    """The tree of one product's unit cost; every node's cost is the sum of those inside it.

    Raises:
        CostbookError: the product has no cost; the sentence says why.
    """
    product = usage.book.products[code]
    parts = [_part(usage, rates, product, part) for part in product.parts]
    work = [*_work(usage, rates, product)]
    inside = (*parts, *work)
    return Node(f"{code} {product.name}", sum(n.cost for n in inside), where=product.where, inside=inside,
                written=f"{product.planned} planned, {product.good} good")  # fmt: skip


def _part(usage: Usage, rates: Rates, product: Product, part: Part) -> Node:
    times = (1.0 if part.per_batch else product.planned) / product.good
    written = f"{part.amount.text} a {'batch' if part.per_batch else 'piece'}"
    if part.kind == "recipe":
        mix = usage.mix(part.item, product.fills)
        amount = part.amount.base(want="each" if mix.in_pieces else "g") * times
        return _recipe(usage, rates, product, part.item, amount, written, part.where)
    if part.kind == "product":
        inner = explanation(usage, rates, part.item)
        count = part.amount.base(want="each") * times
        return _scaled(inner, count, written, part.where)
    if part.kind == "activity":
        rate, taken = rates.activities[part.item], part.amount.base(want="each") * times
        return Node(f"Overhead: {part.item}", taken * rate, taken, "times", rate, written, part.where)
    material = usage.book.materials[part.item]
    amount = part.amount.base(g_per_ml=material.g_per_ml, want=material.base) * times
    return _material(rates, material, amount, written, part.where)


def _recipe(usage: Usage, rates: Rates, product: Product, code: str, amount: float, written: str, where: Where) -> Node:
    """A recipe's mix as part of a piece: its lines, each at the share of the batch this piece pays for."""
    mix = usage.mix(code, product.fills)
    recipe = usage.book.recipes[code]
    share = amount / mix.makes
    inside = []
    for line, item, taken in mix.lines:
        material = usage.book.materials.get(item)
        note = f"{line.amount.text} in the batch"
        if material:
            inside.append(_material(rates, material, taken * share, note, line.where))
        else:
            inside.append(_recipe(usage, rates, product, item, taken * share, note, line.where))
    unit = "each" if mix.in_pieces else "g"
    label = f"{recipe.name}, {share:.5f} of a batch making {mix.makes:.2f} {unit}"
    return Node(label, sum(n.cost for n in inside), amount, unit, None, written, where, "", tuple(inside))


def _material(rates: Rates, material: Material, amount: float, written: str, where: Where) -> Node:
    rate = rates.materials[material.code]
    return Node(
        material.name, amount * rate.per_base, amount, material.base, rate.per_base, written, where, paper_of(rate)
    )


def paper_of(rate: Rate) -> str:
    """The paper and row a rate came from, in words."""
    if rate.line is None:
        return "quoted price"
    line = rate.line.line
    day = f" of {line.date}" if line.date else ""
    row = f", {line.source}" if line.source else ""
    several = f", last of {len(rate.lines)}" if len(rate.lines) > 1 else ""
    return f"{line.supplier} {line.paper}{day} ({rate.rule}{several}), {line.where}{row}"


def _scaled(node: Node, times: float, written: str = "", where: Where | None = None) -> Node:
    """A whole tree for another number of pieces."""
    usage = None if node.usage is None else node.usage * times
    inside = tuple(_scaled(n, times) for n in node.inside)
    return Node(
        node.label,
        node.cost * times,
        usage,
        node.unit,
        node.rate,
        written or node.written,
        where or node.where,
        node.paper,
        inside,
    )


def _work(usage: Usage, rates: Rates, product: Product) -> Iterable[Node]:
    for step in usage.book.steps:
        if product.family and step.family == product.family:
            minutes = (step.batch_minutes + step.piece_minutes * product.planned) / product.good
            written = f"{step.batch_minutes:g} min a batch + {step.piece_minutes:g} min a planned piece"
            yield Node(
                f"{step.name} ({usage.book.called(step.role)})",
                minutes * rates.labour[step.role],
                minutes,
                "min",
                rates.labour[step.role],
                written,
                step.where,
            )
    minutes = sum(batch_minutes(usage.book, product).values()) / product.good
    if minutes:
        yield Node("Overhead", minutes * rates.overhead, minutes, "min", rates.overhead, "every hands-on minute")
