"""Reference weights per volume (densities.csv), by exact name only; near names are for offering, never for reckoning.

A weighed measure of her own always comes before these. The form says what a row holds for: level, sifted, melted.
"""

import csv
import re
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from costbook.amounts.numbers import same_name


class ReferenceWeight(NamedTuple):
    """A published weight per volume: g per mL with its range, the form and measure it holds for, and its source."""

    material: str
    form: str
    g_per_ml: float
    low: float
    high: float
    measure: str
    source: str
    from_memory: bool
    status: str = ""


@lru_cache(maxsize=1)
def reference_weights() -> tuple[ReferenceWeight, ...]:
    """All reference weights per volume, in the order of the table, true densities of solids included."""
    text = Path(__file__).with_name("densities.csv").read_text(encoding="utf-8")
    return tuple(
        ReferenceWeight(
            row["material"], row["form"], float(row["g_per_ml"]), float(row["range_low"]), float(row["range_high"]),
            row["basis(measure)"], row["source"], row["status"].startswith("from memory"), row["status"],
        )
        for row in csv.DictReader(text.splitlines())
    )  # fmt: skip


def _name_keys(name: str) -> set[str]:
    """'sugar, granulated' is also 'granulated sugar'."""
    folded = same_name(name)
    parts = [part.strip() for part in folded.split(",")]
    return {folded, " ".join(reversed(parts))} - {""}


def _usable(weight: ReferenceWeight) -> bool:
    # A true density is that of the crystal without the air between the grains: never right for a cup of powder.
    return "true" not in weight.form


@lru_cache(maxsize=1)
def _by_name_key() -> dict[str, list[int]]:
    """Where in the table the usable weights of each name stand."""
    places: dict[str, list[int]] = {}
    for place, weight in enumerate(reference_weights()):
        for key in _name_keys(weight.material) if _usable(weight) else ():
            places.setdefault(key, []).append(place)
    return places


@lru_cache(maxsize=4096)
def reference_weights_for(name: str) -> tuple[ReferenceWeight, ...]:
    """Every reference weight of exactly that name, best first: seen sources before memory, household measures first."""
    known, table = _by_name_key(), reference_weights()
    found = [table[place] for place in sorted({place for key in _name_keys(name) for place in known.get(key, ())})]
    return tuple(sorted(found, key=lambda w: (w.from_memory, "conflict" in w.status, "household" not in w.form)))


def reference_weight(name: str) -> ReferenceWeight | None:
    """The reference weight per volume of exactly that name, or None; 'granulated sugar' is 'sugar, granulated'.

    Never a near name and never the true density of a solid. Others of the same name: `reference_weights_for`.
    """
    found = reference_weights_for(name)
    return found[0] if found else None


def published_range(name: str) -> tuple[float, float] | None:
    """The least and greatest g per mL published for exactly that name, rows from memory included; None where nothing is."""
    found = reference_weights_for(name)
    return (min(w.low for w in found), max(w.high for w in found)) if found else None


def nearest_references(name: str) -> list[str]:
    """Up to five reference names that may be meant, for offering only: same words first, then near spellings."""
    from difflib import get_close_matches

    words = set(re.findall(r"\w+", same_name(name)))
    names = {same_name(weight.material): weight.material for weight in reference_weights() if _usable(weight)}
    sharing = [shown for folded, shown in names.items() if words and words <= set(re.findall(r"\w+", folded))]
    near = [names[folded] for folded in get_close_matches(same_name(name), names, n=5)]
    return list(dict.fromkeys(sharing + near))[:5]
