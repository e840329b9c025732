"""How much of every base input one good piece takes: the usage matrix, and unit cost as usage x rate.

A row of the matrix is one product; a key is (category, code): grams or pieces of a material, minutes of a role, hands-on
minutes for overhead. Usage knows no price. `bought` is all that goes in, bench loss paid, which cost reads; `kept` is what
is in the finished piece, which label order and scent share read. Sums are plain floats; a book's rows are built once.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple, TypeVar

from costbook.book.model import Book, Part, Product, Recipe, RecipeLine, Step
from costbook.costing.rates import GOODS, OVERHEAD, Rates
from costbook.errors import CostbookError, Finding, InputError, QuantityError

CATEGORIES = (*GOODS, "labour", "overhead")
Key = tuple[str, str]
K = TypeVar("K")
V = TypeVar("V")


class Variant(NamedTuple):
    """One reading of the recipes: which end of every range, and which of the named alternatives (0 = first)."""

    amounts: str = "usual"
    choice: int = 0


USUAL = Variant()


class Mix(NamedTuple):
    """One batch of a recipe with its slots filled.

    `in_g` is all that goes in, `stays_g` without what dries off, `usable_g` after bench loss too, `makes` that or the pieces
    it yields, where `in_pieces`. `bought` and `kept` are grams (or pieces) of base materials, nested recipes resolved;
    `takes` is what each of `makes` takes, by key of a row. `varies` tells whether a range, `choices` how many alternatives at
    most, stand anywhere in it.
    """

    recipe: str
    in_g: float
    stays_g: float
    usable_g: float
    makes: float
    in_pieces: bool
    bought: Mapping[str, float]
    kept: Mapping[str, float]
    takes: tuple[tuple[Key, float], ...]
    lines: tuple[tuple[RecipeLine, str, float], ...]
    varies: bool = False
    choices: int = 1


class Kept(Mapping[str, float]):
    """What is in a finished piece, in grams by material, added up when it is asked for: costing never does.

    `parts` are what the piece holds of mixes and other pieces: their contents, and by what those are multiplied and divided.
    """

    __slots__ = ("_grams", "_parts")

    def __init__(self, parts: Sequence[tuple[Mapping[str, float], float, float]]) -> None:
        self._parts = parts
        self._grams: dict[str, float] | None = None

    def _added(self) -> dict[str, float]:
        if self._grams is None:
            self._grams = {}
            for inside, times, over in self._parts:
                for code, kept in inside.items():
                    self._grams[code] = self._grams.get(code, 0.0) + (kept * times / over if over else 0.0)
        return self._grams

    def __getitem__(self, code: str) -> float:
        return self._added()[code]

    def __iter__(self) -> Iterator[str]:
        return iter(self._added())

    def __len__(self) -> int:
        return len(self._added())


class UsageRow(NamedTuple):
    """One product's row: usage per good piece by key, and what is kept in the piece in grams."""

    product: str
    bought: Mapping[Key, float]
    kept: Mapping[str, float]
    varies: bool
    choices: int


class Cost(NamedTuple):
    """What one good piece costs, in book currency, unrounded.

    `parts` is by category. `lowest` and `highest` are the least and greatest of low, usual and high amounts; `choices`
    are the costs with the first, second ... alternative named. Minutes are hands-on: a piece's include those of the
    products it is made of, a batch's are its own steps.
    """

    product: str
    parts: Mapping[str, float]
    unit_cost: float
    low: float
    high: float
    choices: tuple[float, ...]
    good: int
    piece_minutes: float
    batch_minutes: Mapping[str, float]

    @property
    def lowest(self) -> float:
        """Least of the costs at low, usual and high amounts."""
        return min(self.low, self.unit_cost, self.high)

    @property
    def highest(self) -> float:
        """Greatest of the costs at low, usual and high amounts."""
        return max(self.low, self.unit_cost, self.high)

    @property
    def batch_cost(self) -> float:
        """What the usual batch costs in all."""
        return self.unit_cost * self.good


class Usage:
    """The usage matrix of a book, row by row, each built once per variant and kept.

    `row` and `mix` raise the error that keeps a product or a recipe from having a figure; the same error again when asked
    again.
    """

    def __init__(self, book: Book) -> None:
        self.book = book
        self._mixes: dict[tuple[str, tuple[tuple[str, str], ...], Variant], Mix | CostbookError] = {}
        self._rows: dict[tuple[str, Variant], UsageRow | CostbookError] = {}
        self._steps: dict[str, list[Step]] = {}
        self._batches: dict[tuple[str, int], dict[str, float]] = {}
        for step in book.steps:
            self._steps.setdefault(step.family, []).append(step)

    def batch_minutes(self, product: Product) -> dict[str, float]:
        """Hands-on minutes of a product's own steps for one batch, by role; others share the dict, so it is not to be changed."""
        key = (product.family, product.planned)
        found = self._batches.get(key)
        if found is None:
            steps = self._steps.get(product.family, ()) if product.family else ()
            found = self._batches[key] = _minutes(steps, product.planned)
        return found

    def batch_takes(self, code: str) -> tuple[dict[Key, float], dict[str, float]]:
        """What one usual batch takes itself: amounts by key, and pieces by product where it is made of other products.

        Raises:
            InputError: an amount of its own parts cannot be worked out.
        """
        product = self.book.products[code]
        if product.stopped:
            raise InputError.of(product.stopped)
        sums, pieces = _RowSums(), dict[str, float]()
        for part in product.parts:
            if part.kind != "product":
                self.add_part(sums, product, part, USUAL, (code,))
                continue
            count = part.amount.base(want="each") * (1 if part.per_batch else product.planned)
            pieces[part.item] = pieces.get(part.item, 0.0) + count
        return {key: amount * product.good for key, amount in sums.bought.items()}, pieces

    def row(self, product: str, variant: Variant = USUAL, open_products: tuple[str, ...] = ()) -> UsageRow:
        """One product's usage row. Raises InputError where it cannot be worked out."""
        found = self._rows.get((product, variant))
        if found.__class__ is UsageRow:  # asked for again and again, so what `_once` costs is spared
            return found
        return _once(self._rows, (product, variant), lambda: self._row(product, variant, open_products))

    def mix(
        self, recipe: str, fills: Mapping[str, str], variant: Variant = USUAL, open_recipes: tuple[str, ...] = ()
    ) -> Mix:
        """One batch of a recipe for a piece with these slot fills. Raises InputError where it cannot be worked out."""
        key = (recipe, tuple(sorted(fills.items())) if fills else (), variant)
        found = self._mixes.get(key)
        if found.__class__ is Mix:
            return found
        return _once(self._mixes, key, lambda: self._mix(self.book.recipes[recipe], fills, variant, open_recipes))

    # ------------------------------------------------------------ recipes

    def _mix(self, recipe: Recipe, fills: Mapping[str, str], variant: Variant, opened: tuple[str, ...]) -> Mix:
        if recipe.code in opened:
            round_ = opened[opened.index(recipe.code) :]
            order = list(self.book.recipes)
            first = min(range(len(round_)), key=lambda i: order.index(round_[i]))  # told alike from wherever it is met
            circle = (*round_[first:], *round_[:first], round_[first])
            where = self.book.recipes[circle[0]].where
            raise InputError(f"a recipe uses itself: {' > '.join(circle)}", where, "Take one of those lines out.")
        if recipe.stopped:
            raise InputError.of(recipe.stopped)
        opened = (*opened, recipe.code)
        sums = _Sums()
        shares: list[tuple[RecipeLine, str, float]] = []
        for line in recipe.lines:
            code = _chosen(line, fills, variant.choice, recipe)
            if not code:
                continue
            if code in opened and code not in self.book.materials:
                self.mix(code, fills, variant, opened)  # says the circle before any amount is read
            sums.saw(line)
            if line.amount.percent:
                shares.append((line, code, self._share(line, code, variant)))
            else:
                self._add(sums, line, code, self._line_amount(line, code, variant), fills, variant, opened)
        whole = sum(share for *_, share in shares)
        if whole >= 1:
            raise InputError(
                f"the percent lines of {recipe.name} come to {whole:.0%} of the batch",
                recipe.where,
                "Leave room for the rest.",
            )
        rest = sums.in_g
        for line, code, share in shares:
            self._add(sums, line, code, rest * share / (1 - whole), fills, variant, opened)
        usable = sums.stays_g * (1 - (recipe.loss_fraction or 0.0))
        makes = float(recipe.pieces) if recipe.pieces else usable
        if makes <= 0:
            raise InputError(
                f"a batch of {recipe.name} weighs nothing",
                recipe.where,
                "Give its lines amounts, or say how many pieces it makes.",
            )
        return Mix(
            recipe.code,
            sums.in_g,
            sums.stays_g,
            usable,
            makes,
            recipe.pieces is not None,
            sums.bought,
            sums.kept,
            tuple((("materials", code), bought / makes) for code, bought in sums.bought.items()),
            tuple(sums.lines),
            sums.varies,
            sums.choices,
        )

    def _share(self, line: RecipeLine, code: str, variant: Variant) -> float:
        """A percent line's share of the batch; only what is weighed can be a share of it."""
        material, recipe = self.book.materials.get(code), self.book.recipes.get(code)
        if (material and material.base != "g") or (not material and recipe and recipe.pieces):
            raise QuantityError(
                f"{line.amount.text} of {code}, which is counted in pieces",
                line.where,
                "Give a number of pieces, or what it weighs.",
            )
        return float(getattr(line.amount, variant.amounts))

    def _line_amount(self, line: RecipeLine, code: str, variant: Variant) -> float:
        """Grams (or pieces) of a line's material, or of another recipe's mix."""
        material = self.book.materials.get(code)
        try:
            if material is None:
                recipe = self.book.recipes[code]
                return line.amount.base(variant.amounts, want="each" if recipe.pieces else "g")
            return line.amount.base(variant.amounts, material.g_per_ml, material.base)
        except QuantityError as error:
            name = material.name if material else code
            raise type(error)(
                f"{line.amount.text} of {name}: {error.sentence}", line.places.get("unit", line.where), error.do
            ) from error

    def _add(
        self,
        sums: "_Sums",
        line: RecipeLine,
        code: str,
        amount: float,
        fills: Mapping[str, str],
        variant: Variant,
        opened: tuple[str, ...],
    ) -> None:
        sums.lines.append((line, code, amount))
        material = self.book.materials.get(code)
        if material is not None:
            sums.take(code, amount, line.dries_off, weighs=material.base == "g")
            return
        inner = self.mix(code, fills, variant, opened)
        sums.varies |= inner.varies
        sums.choices = max(sums.choices, inner.choices)
        sums.nest(inner, amount, line.dries_off)

    # ------------------------------------------------------------ products

    def _row(self, code: str, variant: Variant, opened: tuple[str, ...]) -> UsageRow:
        product = self.book.products[code]
        if code in opened:
            raise InputError(
                f"a product is made of itself: {' > '.join((*opened, code))}",
                product.where,
                "Take one of those lines out.",
            )
        if product.stopped:
            raise InputError.of(product.stopped)
        if not product.parts:
            raise InputError(
                f"{code} {product.name} has no lines", product.where, "Say on the Product lines tab what it takes."
            )
        sums = _RowSums()
        for part in product.parts:
            self.add_part(sums, product, part, variant, (*opened, code))
        for role, minutes in self.batch_minutes(product).items():
            sums.add(("labour", role), minutes / product.good)
            sums.add(OVERHEAD, minutes / product.good)
        return UsageRow(code, sums.bought, Kept(sums.inside), sums.varies, sums.choices)

    def add_part(self, sums: "_RowSums", product: Product, part: Part, variant: Variant, opened: tuple[str, ...]) -> None:
        """Adds what one part of a product takes to a row being summed."""
        amount = part.amount
        if amount.is_range:
            sums.varies = True
        times = (1.0 if part.per_batch else product.planned) / product.good
        inside = 1.0 / product.planned if part.per_batch else 1.0
        try:
            if part.kind == "recipe":
                self._add_recipe(sums, product, part, variant, times, inside)
            elif part.kind == "product":
                count = amount.base(variant.amounts, want="each")
                inner = self.row(part.item, variant, opened)
                sums.nest(inner, count * times, count * inside)
            elif part.kind == "activity":
                sums.add(("overhead", part.item), amount.base(variant.amounts, want="each") * times)
            else:
                material = self.book.materials[part.item]
                taken = amount.base(variant.amounts, material.g_per_ml, material.base)
                sums.add(("packaging" if part.kind == "packaging" else "consumables", part.item), taken * times)
        except QuantityError as error:
            raise (error if error.where else type(error)(error.sentence, part.where, error.do)) from error

    def _add_recipe(
        self, sums: "_RowSums", product: Product, part: Part, variant: Variant, times: float, inside: float
    ) -> None:
        mix = self.mix(part.item, product.fills, variant)
        amount = part.amount.base(variant.amounts, want="each" if mix.in_pieces else "g")
        sums.varies |= mix.varies
        sums.choices = max(sums.choices, mix.choices)
        row = sums.bought
        if row:
            for key, taken in mix.takes:
                row[key] = row.get(key, 0.0) + taken * amount * times
        else:  # the first part, most often a product's only mix: nothing to look up and add to
            sums.bought = {key: taken * amount * times for key, taken in mix.takes}
        sums.inside.append((mix.kept, amount * inside * mix.usable_g / mix.makes, mix.stays_g))


class _Sums:
    """A batch while it is added up."""

    def __init__(self) -> None:
        self.in_g = self.stays_g = 0.0
        self.bought: dict[str, float] = {}
        self.kept: dict[str, float] = {}
        self.lines: list[tuple[RecipeLine, str, float]] = []
        self.varies, self.choices = False, 1

    def saw(self, line: RecipeLine) -> None:
        self.varies |= line.amount.is_range
        self.choices = max(self.choices, len(line.choices))

    def take(self, code: str, amount: float, dries_off: bool, weighs: bool) -> None:
        self.bought[code] = self.bought.get(code, 0.0) + amount
        if weighs:
            self.in_g += amount
        if not dries_off and weighs:
            self.stays_g += amount
            self.kept[code] = self.kept.get(code, 0.0) + amount

    def nest(self, inner: Mix, amount: float, dries_off: bool) -> None:
        """Another recipe's mix as a material, at its own usable weight, so its bench loss is paid for."""
        for code, bought in inner.bought.items():
            self.bought[code] = self.bought.get(code, 0.0) + bought * amount / inner.makes
        weight = amount * inner.usable_g / inner.makes if inner.in_pieces else amount
        self.in_g += weight
        if dries_off:
            return
        self.stays_g += weight
        whole = sum(inner.kept.values())
        for code, kept in inner.kept.items():
            self.kept[code] = self.kept.get(code, 0.0) + kept * weight / whole


class _RowSums:
    """A product's row while it is added up; `inside` is what `Kept` is made of."""

    def __init__(self) -> None:
        self.bought: dict[Key, float] = {}
        self.inside: list[tuple[Mapping[str, float], float, float]] = []
        self.varies, self.choices = False, 1

    def add(self, key: Key, amount: float) -> None:
        self.bought[key] = self.bought.get(key, 0.0) + amount

    def nest(self, inner: UsageRow, times: float, each: float) -> None:
        self.varies |= inner.varies
        self.choices = max(self.choices, inner.choices)
        for key, amount in inner.bought.items():
            self.add(key, amount * times)
        self.inside.append((inner.kept, each, 1.0))


def _once(memo: dict[K, V | CostbookError], key: K, make: Callable[[], V]) -> V:
    found = memo.get(key)
    if found is None:
        try:
            found = make()
        except CostbookError as error:
            found = error
        memo[key] = found
    if isinstance(found, CostbookError):
        raise found
    return found


def _chosen(line: RecipeLine, fills: Mapping[str, str], choice: int, recipe: Recipe) -> str:
    """The code that stands for a line in this piece, '' where the line is left out."""
    if line.when not in ("always", "optional") and line.when not in fills:
        return ""
    if not line.slot:
        return line.choices[min(choice, len(line.choices) - 1)]
    if line.slot in fills or line.when == "optional":
        return fills.get(line.slot, "")
    raise InputError(f"{recipe.name} wants a {line.slot}, and the piece has none", line.where,
                     f"Fill {line.slot} on the Products tab, or write 'if {line.slot}' under When.")  # fmt: skip


def batch_minutes(book: Book, product: Product) -> dict[str, float]:
    """Hands-on minutes of a product's own steps for one batch, by role."""
    return _minutes([s for s in book.steps if s.family == product.family and product.family], product.planned)


def _minutes(steps: Iterable[Step], planned: int) -> dict[str, float]:
    minutes: dict[str, float] = {}
    for step in steps:
        minutes[step.role] = minutes.get(step.role, 0.0) + step.batch_minutes + step.piece_minutes * planned
    return minutes


def rate_of(key: Key, rates: Rates) -> float:
    """What one base unit of an input costs. Raises KeyError where nothing tells."""
    return rates.by_key[key]


def cost_parts(row: UsageRow, rates: Rates) -> dict[str, float]:
    """Usage x rate of one row, summed by category."""
    parts, of = dict.fromkeys(CATEGORIES, 0.0), rates.by_key
    for key, amount in row.bought.items():
        parts[key[0]] += amount * of[key]
    return parts


def costs(usage: Usage, rates: Rates) -> tuple[dict[str, Cost], list[Finding]]:
    """The cost of every product that can have one, and a finding for each thing that keeps a product from it."""
    found: dict[str, Cost] = {}
    trouble: dict[tuple[str, str], Finding] = {}
    for code in usage.book.products:
        try:
            found[code] = _cost(usage, rates, code)
        except CostbookError as error:
            because = error.because if isinstance(error, InputError) else ()
            for finding in because or (_stop(error),):
                key = (str(finding.where), finding.sentence)
                about = (*trouble[key].about, code) if key in trouble else (code,)
                trouble[key] = finding._replace(about=about)
    return found, list(trouble.values())


def _cost(usage: Usage, rates: Rates, code: str) -> Cost:
    row = usage.row(code)
    goods = [item for category, item in row.bought if category not in ("labour", "overhead")] if rates.missing else []
    lacking = tuple(rates.missing[item] for item in goods if item in rates.missing)
    if lacking:
        raise InputError.of(lacking)
    parts = cost_parts(row, rates)
    unit_cost = math.fsum(parts.values())
    ends = [
        _variant_cost(usage, rates, code, Variant(end), unit_cost) if row.varies else unit_cost
        for end in ("low", "high")
    ]
    choices = [unit_cost] + [
        _variant_cost(usage, rates, code, Variant(choice=i), unit_cost) for i in range(1, row.choices)
    ]
    product = usage.book.products[code]
    return Cost(
        code,
        parts,
        unit_cost,
        ends[0],
        ends[1],
        tuple(choices),
        product.good,
        row.bought.get(OVERHEAD, 0.0),
        usage.batch_minutes(product),
    )


def _variant_cost(usage: Usage, rates: Rates, code: str, variant: Variant, usual: float) -> float:
    """The cost in another reading; the usual one where that reading lacks a price or a weight per volume."""
    try:
        return math.fsum(cost_parts(usage.row(code, variant), rates).values())
    except (CostbookError, KeyError):
        return usual


def _stop(error: CostbookError) -> Finding:
    """The finding for an error that only costing met."""
    where = error.where if not isinstance(error.where, str) else None
    return Finding("stop", "no-price", error.sentence, where, error.do)


def cost_at(usage: Usage, rates: Rates, code: str, multiple: float) -> float:
    """The unit cost of one good piece when a batch is made `multiple` times as large.

    Per-batch minutes, packaging and consumables are paid once per mix: a larger batch in one mix pays them once, and
    again for every further mix the bowl needs. A set's parts are costed at their own usual batch.
    """
    book = usage.book
    product = book.products[code]
    grams = (mix_grams(usage, product, part) for part in product.parts if part.kind == "recipe")
    mass = sum(grams)
    holds = max(book.settings.mixer_g or math.inf, mass)
    mixes = max(1, math.ceil(round(mass * multiple / holds, 9))) if math.isfinite(holds) else 1
    fixed = _once_a_mix(usage, rates, product)
    per_piece = math.fsum(cost_parts(usage.row(code), rates).values()) - fixed / product.good
    return per_piece + fixed * mixes / (product.good * multiple)


def mix_grams(usage: Usage, product: Product, part: Part) -> float:
    """Grams of mix one usual batch takes for a part; 0 for a recipe that yields pieces."""
    if usage.mix(part.item, product.fills).in_pieces:
        return 0.0
    return part.amount.base(want="g") * (1 if part.per_batch else product.planned)


def _once_a_mix(usage: Usage, rates: Rates, product: Product) -> float:
    """What one mix costs however many pieces come of it: per-batch lines, and the work done once a batch."""
    only = product._replace(parts=tuple(p for p in product.parts if p.per_batch), planned=1, good=1)
    sums = _RowSums()
    for part in only.parts:
        usage.add_part(sums, only, part, USUAL, (product.code,))
    cost = math.fsum(amount * rate_of(key, rates) for key, amount in sums.bought.items())
    for step in usage.book.steps:
        if product.family and step.family == product.family:
            cost += step.batch_minutes * (rates.labour[step.role] + rates.overhead)
    return cost
