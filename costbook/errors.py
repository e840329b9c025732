"""What can go wrong, in words a maker can act on.

    CostbookError                        a sentence, where, what to do
    ├── InputError      exit 3           something she or a supplier wrote
    │   ├── QuantityError
    │   │   ├── UnknownUnit
    │   │   └── WeightPerVolumeMissing
    │   ├── LayoutError                  a tab or heading that is not there
    │   ├── BookError                    the book as a whole cannot be read
    │   ├── PriceMissing
    │   └── InvoiceError                 a supplier's paper that cannot be read
    └── HostError       exit 4           the file or the office program
        ├── HostUnavailable
        ├── WorkbookBusy
        ├── WorkbookChanged
        └── WriteRefused

An exception is raised only when nothing useful can be returned. A bad row is a `Finding` beside the result.
"""

from typing import NamedTuple

LEVELS = ("stop", "ask", "warn", "note")


class Where(NamedTuple):
    """A place she can go to: a tab and a cell, or a paper and a row."""

    tab: str
    cell: str = ""

    def __str__(self) -> str:
        return f"{self.tab}!{self.cell}" if self.cell else self.tab


class Finding(NamedTuple):
    """One thing to look at: level, sentence, where it stands, what to do.

    Levels: stop = no price comes out of it; ask = priced on the reading stated in the sentence;
    warn = priced, look at it; note = for information. `check` is a short stable name of the check.
    `about` names the products (codes) it concerns, where it concerns some.
    """

    level: str
    check: str
    sentence: str
    where: Where | None = None
    do: str = ""
    about: tuple[str, ...] = ()

    def at(self, where: Where) -> "Finding":
        """The same finding, placed, if it had no place yet."""
        return self if self.where else self._replace(where=where)


class CostbookError(Exception):
    """A sentence, where it happened, and what to do about it."""

    exit_code = 3

    def __init__(self, sentence: str, where: Where | str | None = None, do: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.where = where
        self.do = do

    @property
    def advice(self) -> str:
        """What is wrong and what to do, without the place."""
        stop = "" if self.sentence.endswith((".", "?", "!")) or not self.do else "."
        return f"{self.sentence}{stop}" + (f" {self.do}" if self.do else "")

    def __str__(self) -> str:
        return f"{self.where}: {self.advice}" if self.where else self.advice


class InputError(CostbookError):
    """Something she or a supplier wrote. `because` are the findings it comes from, where they are told already."""

    because: tuple[Finding, ...] = ()

    @classmethod
    def of(cls, findings: tuple["Finding", ...]) -> "InputError":
        """The error that findings of level stop amount to; it speaks with the first."""
        first = findings[0]
        error = cls(first.sentence, first.where, first.do)
        error.because = findings
        return error


class QuantityError(InputError):
    """An amount or a unit that cannot be read."""


class UnknownUnit(QuantityError):
    """A unit name nobody knows; the nearest known one is offered."""


class WeightPerVolumeMissing(QuantityError):
    """A cup or a spoon of a material whose weight per volume nobody has given."""


class LayoutError(InputError):
    """A tab or a heading that is not there."""


class BookError(InputError):
    """The book as a whole cannot be read."""


class PriceMissing(InputError):
    """A material without any price that counts."""


class InvoiceError(InputError):
    """A supplier's paper that cannot be read."""


class HostError(CostbookError):
    """The file or the office program."""

    exit_code = 4


class HostUnavailable(HostError):
    """A program or a file that is not there."""


class WorkbookBusy(HostError):
    """The workbook is open somewhere else."""


class WorkbookChanged(HostError):
    """A cell is no longer what it was when the book was read."""


class WriteRefused(HostError):
    """Saving would lose something of hers, or cannot be done at all; the file is untouched."""
