"""Writes README.md beside this file from the registry of cases: `python -m tests.published.page`."""

from __future__ import annotations

import re
import sys
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
PAGE = HERE / "README.md"
if str(HERE.parent) not in sys.path:  # as pytest does, where it is run by its full name
    sys.path.insert(0, str(HERE.parent))

from published.cases import CASES, INDEPENDENT, LATER, OUT_OF_SCOPE, PARTS_LEFT  # noqa: E402

HEAD = """\
# What is checked against published figures

Made by `python -m tests.published.page` from the registry in `cases.py`; a test compares it. Every entry of the collection
of published values is a case here, or is listed below with the reason why not. Figures and citations are copied into
`figures.json`; where the collection is beside the checkout a test holds every copied figure and citation against it.
A case runs the program's own public functions on the published inputs and compares with the published result.
"""


def table(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> list[str]:
    lines = [headings, ["---"] * len(headings), *rows]
    return ["| " + " | ".join(str(cell).replace("|", "\\|") for cell in line) + " |" for line in lines]


def counted(names: Iterable[str]) -> list[tuple[str, int]]:
    """Each name and how often it stands there, the most frequent first."""
    return sorted(Counter(names).items(), key=lambda pair: (-pair[1], pair[0]))


def work_of(citation: str) -> str:
    """The book, standard or table a citation names, without section and example."""
    return re.split(r", §|, Review | — | App\. |, Appendix | \(brcup| definitions| metriccup|; ", citation)[0]


def reasons(listed: Mapping[str, str]) -> list[tuple[str, str]]:
    """Entries of one reason together, in their order."""
    together: dict[str, list[str]] = {}
    for entry, reason in listed.items():
        together.setdefault(reason, []).append(entry)
    return [(", ".join(entries), reason) for reason, entries in together.items()]


def page() -> str:
    """The page as text."""
    topics = {case.topic: [c for c in CASES if c.topic == case.topic] for case in CASES}
    whole = len(CASES) + len(LATER) + len(OUT_OF_SCOPE)
    lines = [HEAD, f"{whole} entries: {len(CASES)} checked, {len(LATER)} later, {len(OUT_OF_SCOPE)} out of scope.", "", "## How many, by topic", ""]
    lines += table(
        ("topic", "checked", "from memory", "run by"),
        [(topic, len(found), sum(c.from_memory for c in found), f"`{found[0].file}`") for topic, found in topics.items()],
    )
    lines += ["", "## How many, by source", "", *table(("source", "entries"), counted(work_of(case.source) for case in CASES))]
    lines += ["", "## The cases", ""]
    for topic, found in topics.items():
        lines += [f"### {topic.capitalize()}", ""]
        lines += table(
            ("entry", "worked out by", "source", "mark"),
            [(c.entry, c.means, c.source, f"**{c.mark}**" if c.mark else "") for c in found],
        )
        lines.append("")
    lines += ["## Figures of a checked entry that are left out", "", *table(("entry and figure", "why"), reasons(PARTS_LEFT)), ""]
    lines += ["## Later", "", *table(("entries", "why"), reasons(LATER)), ""]
    lines += ["## Out of scope", "", *table(("entries", "why"), reasons(OUT_OF_SCOPE)), ""]
    independent = [(what, f"`tests/{test.removesuffix('::')}`") for what, test in INDEPENDENT.items()]
    lines += ["## Independent references beside the published figures", "", *table(("what", "test"), independent)]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
