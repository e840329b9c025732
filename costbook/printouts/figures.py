"""Every figure of a run as plain dicts and lists, for `--json` and for other programs.

Money and rates are numbers in book currency, unrounded; shares are fractions; grams, millilitres and minutes are named in
the keys. Prices shown to customers are texts with their decimals, so that nothing is lost on the way.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from costbook.costing.checks import Priced
from costbook.costing.rates import LandedLine, papers
from costbook.costing.tiers import Tier
from costbook.costing.trace import Node
from costbook.costing.usage import Cost
from costbook.errors import Finding


def figures(priced: Priced, findings: Sequence[Finding]) -> dict[str, Any]:
    """All figures: products, prices, rates, recipe batches, papers and findings."""
    settings = priced.book.settings
    return {
        "workshop": settings.workshop,
        "currency": settings.currency,
        "date": priced.on.isoformat(),
        "products": [_product(priced, cost) for cost in priced.costs.values()],
        "prices": [_tier(t) for t in priced.tiers],
        "rates": list(_rates(priced)),
        "recipes": list(_batches(priced)),
        "papers": [
            {"supplier": s.supplier, "paper": s.paper, "date": _day(s.date), "goods": str(s.goods), "discount": str(s.discount),
             "charges": str(s.charges), "tax": str(s.tax), "total": str(s.total)} for s in papers(priced.book)
        ],
        "findings": [finding_figures(f) for f in findings],
    }  # fmt: skip


def finding_figures(finding: Finding) -> dict[str, Any]:
    """One finding as a dict."""
    return {"level": finding.level, "check": finding.check, "sentence": finding.sentence, "where": str(finding.where or ""),
            "do": finding.do, "products": list(finding.about)}  # fmt: skip


def _day(day: Any) -> str | None:
    return day.isoformat() if day else None


def _product(priced: Priced, cost: Cost) -> dict[str, Any]:
    product = priced.book.products[cost.product]
    row = priced.usage.row(cost.product)
    return {
        "code": product.code, "name": product.name, "trying": product.trying, "unit_cost": cost.unit_cost, **{f"{k}_cost": v for k, v in cost.parts.items()},
        "low": cost.low, "high": cost.high, "lowest": cost.lowest, "highest": cost.highest, "choices": list(cost.choices),
        "batch_cost": cost.batch_cost, "planned": product.planned, "good": cost.good, "hands_on_minutes": cost.piece_minutes,
        "batch_minutes": dict(cost.batch_minutes), "usage": {f"{k}: {i}": v for (k, i), v in row.bought.items()},
        "kept_g": dict(row.kept),
    }  # fmt: skip


def _tier(t: Tier) -> dict[str, Any]:
    text = {
        k: None if (v := getattr(t, k)) is None else str(v)
        for k in ("floor_price", "target_price", "proposal", "her_price", "compare", "compare_materials")
    }
    plain = {k: getattr(t, k) for k in ("product", "channel", "unit_cost", "channel_cost", "floor_exact", "exact_net", "exact_shown", "proposal_margin",
                                        "proposal_kept", "margin", "kept", "kept_fraction", "day_pieces", "flag")}  # fmt: skip
    return plain | text


def _rates(priced: Priced) -> Iterable[dict[str, Any]]:
    for code, rate in priced.rates.materials.items():
        material = priced.book.materials[code]
        yield {"code": code, "name": material.name, "base": material.base, "rate": rate.per_base, "rule": rate.rule,
               "g_per_ml": material.g_per_ml, "weight_source": material.weight_source, "from": _landed(rate.line) if rate.line else None}  # fmt: skip


def _landed(line: LandedLine) -> dict[str, Any]:
    return {"supplier": line.line.supplier, "paper": line.line.paper, "date": _day(line.line.date), "list_rate": line.list_rate, "base_received": line.base,
            "goods": float(line.goods), "charges": float(line.charges), "tax": float(line.tax), "landed": float(line.landed),
            "rate": line.rate, "where": str(line.line.where), "source": line.line.source}  # fmt: skip


def _batches(priced: Priced) -> Iterable[dict[str, Any]]:
    """Every recipe as the products take it, once for each filling of its slots."""
    seen: set[tuple[str, tuple[tuple[str, str], ...]]] = set()
    for code in priced.costs:
        product = priced.book.products[code]
        stack = [p.item for p in product.parts if p.kind == "recipe"]
        while stack:
            mix = priced.usage.mix(stack.pop(0), product.fills)
            stack += [item for _, item, _ in mix.lines if item not in priced.book.materials]
            key = (mix.recipe, tuple(sorted(product.fills.items())))
            if key not in seen:
                seen.add(key)
                cost = sum(amount * priced.rates.materials[m].per_base for m, amount in mix.bought.items())
                yield {"recipe": mix.recipe, "name": priced.book.recipes[mix.recipe].name, "fills": dict(product.fills), "in_g": mix.in_g,
                       "without_dried_off_g": mix.stays_g, "makes": mix.makes, "unit": "each" if mix.in_pieces else "g", "batch_cost": cost,
                       "cost_per_unit": cost / mix.makes}  # fmt: skip


def explained(node: Node) -> dict[str, Any]:
    """An explanation tree as nested dicts."""
    return {"what": node.label, "cost": node.cost, "usage": node.usage, "unit": node.unit, "rate": node.rate, "written": node.written,
            "where": str(node.where or ""), "paper": node.paper, "inside": [explained(n) for n in node.inside]}  # fmt: skip


def explanation_lines(node: Node, currency: str, depth: int = 0) -> Iterable[str]:
    """An explanation tree as indented text, one line a step."""
    pad = "  " * depth
    used = "" if node.usage is None else f"  {node.usage:.4f} {node.unit}"
    rate = "" if node.rate is None else f" x {node.rate:.6f}"
    written = f"  [{node.written}{', ' if node.where else ''}{node.where or ''}]" if node.written or node.where else ""
    yield f"{node.cost:10.4f} {currency}  {pad}{node.label}{used}{rate}{written}"
    if node.paper:
        yield f"{'':15}  {pad}  from {node.paper}"
    for inner in node.inside:
        yield from explanation_lines(inner, currency, depth + 1)
