"""The published figures the checks run against, copied with their citations into figures.json, an entry a line.

Figures and citations are copied, not sentences, so that the checks also run where the shared folder is not; where it is,
test_published.py holds every copied figure against it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Entry = dict[str, Any]
FIGURES: dict[str, Entry] = {
    entry["id"]: entry for entry in json.loads(Path(__file__).with_name("figures.json").read_text(encoding="utf-8"))
}
# What the status of an entry says beside its check; '' where the figures were seen in their source.
MARKS = {
    "verified": "", "from memory": "from memory", "partly verified": "partly seen, the rest from memory or recomputed",
    "derived": "derived: the answer itself is not printed in the source",
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One published entry and the check that holds the program against it.

    `means` says in words what of the program works the figures out; `from_memory` tells that they were written down from
    memory and not seen in their source; `file` is the test file that runs the check.
    """

    entry: str
    topic: str
    means: str
    check: Callable[[Entry], None]
    from_memory: bool = False
    file: str = "test_published.py"

    @property
    def source(self) -> str:
        """The citation of the entry."""
        return str(FIGURES[self.entry]["source"])

    @property
    def mark(self) -> str:
        """What to know of where the figures come from, '' where they were seen in their source."""
        return MARKS[FIGURES[self.entry]["status"]]

Check = Callable[[Entry], None]


@dataclass(frozen=True)
class Cases:
    """Cases being collected: `@cases.of("A01 A05", topic, means)` above a check makes one case an entry."""

    found: list[Case]

    def of(self, entries: str, topic: str, means: str, *, from_memory: bool = False) -> Callable[[Check], Check]:
        """Adds a case for each of the entries named."""

        def add(check: Check) -> Check:
            self.found.extend(Case(entry, topic, means, check, from_memory) for entry in entries.split())
            return check

        return add
