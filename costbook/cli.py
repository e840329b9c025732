"""The command line: what she types, what she sees, and the exit code.

Exit codes: 0 done; 1 done, and something waits for her: a product has no price, a paper or a list waits, a batch or sale is asked
about, a decision cannot be used, a promise cannot be met; 2 the command was not understood; 3 what was asked or the book cannot be read; 4 a file or the
office program stands in the way.
"""

from __future__ import annotations

import argparse
import gc
import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from costbook import commands
from costbook.amounts.numbers import counted
from costbook.errors import CostbookError, Finding

NAME = "costbook"
DONE, STOPPED, USAGE = 0, 1, 2
SHOWN_FINDINGS = 40


Word = tuple[str, dict[str, Any]]
BOOK: Word = ("book", {"type": Path, "help": "your workbook"})
PROFILE: Word = ("--profile", {"type": Path, "metavar": "FOLDER", "help": "the office's user folder (default: yours)"})
COMMANDS: dict[str, tuple[str, tuple[Word, ...]]] = {
    "demo": ("make the demo workbook with its sample papers, post them and price it", (
        ("folder", {"nargs": "?", "type": Path, "default": Path("costbook-demo"), "help": "where to (default: costbook-demo)"}),
    )),
    "blank": ("make a blank workbook that says what to type where", (
        ("book", {"type": Path, "help": "the file to make, such as workshop.xlsx"}),
    )),
    "price": ("work out costs and prices and write them into the workbook", (
        BOOK,
        ("--json", {"action": "store_true", "help": "print every figure as JSON"}),
    )),
    "explain": ("show where a product's unit cost comes from, down to the paper and its row", (
        BOOK,
        ("product", {"help": "its code or name"}),
        ("--batches", {"type": float, "metavar": "N", "help": "also the unit cost when a batch is made N times as large"}),
        ("--json", {"action": "store_true", "help": "print it as JSON"}),
    )),
    "post": ("post what you confirmed on Invoice review, and supplier papers: lists, price lists, e-invoices, PDFs, scans", (
        BOOK,
        ("papers", {"nargs": "*", "type": Path, "default": [], "help": "files, or folders with the folders in them; none: only what you confirmed"}),
    )),
    "changed": ("show what announced prices do to costs and margins, and what to decide", (BOOK,)),
    "accept": ("move the prices you decided on into your own columns, and log them", (BOOK,)),
    "shops": ("write a line sheet and a notice of new prices for shops; neither holds a cost", (
        BOOK,
        ("--pdf", {"type": Path, "metavar": "FILE", "help": "also print both into a PDF, through LibreOffice"}),
    )),
    "next": ("show what to make next, what is short and what to buy; with --plan the best plan of the week", (
        BOOK,
        ("--by", {"default": "", "metavar": "ORDER", "help": "margin per piece, sold out first, margin %%, cash per hour, plan (default: that of the Start tab)"}),
        ("--plan", {"action": "store_true", "help": "also plan the week and write it day by day"}),
        ("--seconds", {"type": float, "default": commands.PLAN_SECONDS, "metavar": "N", "help": "how long to look for the best plan (default: 10)"}),
    )),
    "record": ("book batches and sales you typed, and sales lists: stock moves", (
        BOOK,
        ("lists", {"nargs": "*", "type": Path, "default": [], "help": "sales lists of your shop, CSV or workbook"}),
    )),
    "count": ("write a count sheet with the stock's value at cost", (BOOK,)),
    "lot": ("show where a lot came from and went, or the lots in a product's batches", (
        BOOK,
        ("name", {"help": "a lot, or a product's code or name"}),
    )),
    "picture": ("draw a PDF or scan with boxes over what was read of it", (
        ("paper", {"type": Path, "help": "a PDF or a picture"}),
        ("--into", {"type": Path, "default": Path(), "metavar": "FOLDER", "help": "where the pictures go (default: here)"}),
    )),
    "takeback": ("put back the workbook as it was before the last save", (
        BOOK,
        ("--list", {"action": "store_true", "help": "only list the earlier states that are kept"}),
        ("--number", {"type": int, "metavar": "N", "help": "put back state N of that list instead"}),
    )),
    "install": ("put the costbook menu and toolbar into LibreOffice Calc", (
        ("--remove", {"action": "store_true", "help": "take them out again"}),
        PROFILE,
    )),
    "excel": ("work on the workbook that is open in Excel, like a button; write buttons for it; try it out", (
        ("do", {"choices": ("price", "changed", "next", "post", "findings", "takeback", "buttons", "tryout"), "metavar": "DO",
                "help": "price, changed, next, post, findings, takeback; buttons: write files to double-click and an add-in; tryout: test on a blank workbook and write a report"}),
        ("files", {"nargs": "*", "type": Path, "default": [], "help": "papers to post; the folder for buttons; the file for the report"}),
        ("--book", {"metavar": "NAME", "help": "the open workbook that is meant (default: the one in front)"}),
    )),
    "doctor": ("look whether all that the buttons need is there, and say what to do", (
        ("book", {"nargs": "?", "type": Path, "help": "also look who has this workbook open"}),
        PROFILE,
    )),
}  # fmt: skip


class _Later(argparse.ArgumentParser):
    """The parser of one command, made when something of it is asked for: making all of them delays every start."""

    def __init__(self, words: Sequence[Word], **own: Any) -> None:
        self._later = words, own

    def __getattr__(self, name: str) -> Any:
        if "_later" not in self.__dict__:
            raise AttributeError(name)
        words, own = self.__dict__.pop("_later")
        super().__init__(**own)
        for word, options in words:
            self.add_argument(word, **options)
        return getattr(self, name)


def parser() -> argparse.ArgumentParser:
    """The commands and options."""
    top = argparse.ArgumentParser(
        prog=NAME, description="Unit costs, margins and price tiers, from your own workbook and your suppliers' papers."
    )
    asked = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Later)
    for name, (says, words) in COMMANDS.items():
        asked.add_parser(name, help=says, words=words, description=f"{says[0].upper()}{says[1:]}.")
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command; returns the exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    if not given:
        parser().print_help(sys.stderr)
        return USAGE
    asked = parser().parse_args(given)
    try:
        return int(globals()[f"_{asked.command}"](asked))
    except CostbookError as error:
        _progress("")
        print(f"{NAME}: {error}", file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        return DONE
    except KeyboardInterrupt:
        print(f"\n{NAME}: stopped; the workbook is as it was.", file=sys.stderr)
        return 130


def run() -> NoReturn:
    """The program as a process of its own: runs one command and ends.

    A run builds up its records and is over, so the collector of cycles finds nothing to free, and taking the records
    apart one by one at the end is a tenth of the time she waits.
    """
    gc.disable()
    code = main()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except BrokenPipeError:
        pass  # who read the output has gone
    os._exit(code)


def _name(path: Path) -> str:
    """A file's name as it is typed after a command."""
    return f'"{path}"' if re.search(r"[^\w.,:/\\~+@-]", str(path)) else str(path)


def _progress(words: str) -> None:
    """A few words on the terminal's last line; nothing where the output is not a terminal."""
    if sys.stderr.isatty():
        print(f"\r\033[K{words}{' ...' if words else ''}", end="", file=sys.stderr, flush=True)


def _demo(asked: argparse.Namespace) -> int:
    posted, outcome = commands.demo(asked.folder, _progress)
    _progress("")
    _print_posted(posted)
    print()
    return _print_outcome(outcome)


def _blank(asked: argparse.Namespace) -> int:
    commands.blank(asked.book)
    print(f"{asked.book} is ready. Open it and begin on the Start tab; then: {NAME} price {_name(asked.book)}")
    return DONE


def _print_json(figures: object) -> None:
    import json

    print(json.dumps(figures, indent=1, ensure_ascii=False))


def _price(asked: argparse.Namespace) -> int:
    outcome = commands.price(asked.book, _progress)
    _progress("")
    if asked.json:
        _print_json(outcome.figures())
        return STOPPED if outcome.stopped else DONE
    return _print_outcome(outcome)


def _explain(asked: argparse.Namespace) -> int:
    told = commands.explain(asked.book, asked.product, asked.batches)
    if asked.json:
        _print_json(told.figures())
    else:
        print("\n".join(told.lines()))
    return DONE


def _post(asked: argparse.Namespace) -> int:
    posted = commands.post(asked.book, asked.papers, _progress)
    _progress("")
    _print_posted(posted)
    done = [p for p in posted if p.state == "posted"]
    waiting = any(p.state == "to review" for p in posted)
    if waiting:
        print(f"Now answer what waits on the Invoice review tab, and save; then: {NAME} post {_name(asked.book)}")
    for command, wanted in (("price", not all(p.announces for p in done)), ("changed", any(p.announces for p in done))):
        if wanted:
            print(f"{'And for what was posted' if waiting else 'Now'}: {NAME} {command} {_name(asked.book)}")
    return STOPPED if any(p.state in ("refused", "to review") for p in posted) else DONE


def _changed(asked: argparse.Namespace) -> int:
    told = commands.changed(asked.book, _progress)
    _progress("")
    print(f"{'Code':<6} {'Product':<36} {'Cost now':>9} {'Rise':>7} {'After':>9}  {'A year':>9}  Under its floor after")
    for code, change in sorted(told.impact.products.items(), key=lambda pair: -pair[1].rise):
        under = ", ".join(f"{t.channel}{' (newly)' if t.crosses_floor else ''}" for t in change.tiers if t.under_floor_after)
        print(f"{code[:6]:<6} {told.priced.book.products[code].name[:36]:<36} {change.before:>9.2f} {change.rise:>7.3f} {change.after:>9.2f}  "
              f"{_text(change.a_year):>9}  {under}")  # fmt: skip
    print(f"\n{told.sentence}")
    unpriced = [code for code in told.priced.book.products if code not in told.priced.costs]
    if unpriced:
        print(f"Not in it, without a price: {', '.join(unpriced)}.")
    for rise in told.hidden:
        print(f" warn  {rise.after.line.where}: {rise.sentence}")
    if told.findings or told.impact.findings:
        _print_findings([*told.findings, *told.impact.findings])
    print(f"{told.path}: {'written' if told.written else 'nothing changed, file left as it is'}.")
    if told.impact.news:
        print(f"Now decide on the Price decisions tab, and save; then: {NAME} accept {_name(asked.book)}")
    return STOPPED if any(f.level == "stop" for f in told.findings) else DONE


def _accept(asked: argparse.Namespace) -> int:
    done = commands.accept(asked.book, _progress)
    _progress("")
    if done.findings:
        _print_findings(done.findings)
    for product, column, old, new in done.moved:
        starts = done.later.get((product, column))
        print(f"{product}: {column} {old:.2f} -> {new:.2f}{f' from {starts}: shops see it from then on, your own tabs count it already' if starts else ''}")
    if any(f.level == "stop" for f in done.findings):
        print("Nothing was moved.")
        return STOPPED
    for product, column, price in done.standing:
        print(f"{product}: {column} stays held at {price:.2f}, as decided before")
    nothing = f"Nothing {'new ' if done.standing else ''}was decided, so nothing moved"
    if not done.kept:
        print(f"{nothing}.")
        return DONE
    decided = f"{counted(len(done.moved), 'price')} moved, {done.held} held" if done.moved or done.held else nothing
    print(f"{decided}; this state of costs is kept to compare with.")
    if any(column == "wholesale" for _, column, *_ in done.moved):
        print(f"To tell shops: {NAME} shops {_name(asked.book)}")
    print(f"To undo this: {NAME} takeback {_name(asked.book)}")
    return DONE


def _shops(asked: argparse.Namespace) -> int:
    written, under = commands.shops(asked.book, asked.pdf, _progress)
    _progress("")
    print(f"{asked.book}: {'Line sheet and Price notice written' if written else 'nothing changed, file left as it is'}.")
    if under:
        print(f"Left out, under the floor at today's wholesale price: {', '.join(under)}.")
    if asked.pdf:
        print(f"{asked.pdf} is ready to send.")
    return DONE


def _next(asked: argparse.Namespace) -> int:
    told = commands.make_next(asked.book, asked.by, asked.seconds if asked.plan else None, _progress)
    _progress("")
    print(f"What to make next, by {told.by}:")
    for place, row in enumerate((r for r in told.rows if r.wanted > 0), 1):
        state = f"short of {', '.join(s.name for s in row.short)}" if row.short else row.why_not or "can be made"
        if row.can_be_made and row.possible is not None and row.possible < row.batches_in_all:
            state = f"stock allows {row.possible} of {counted(row.batches_in_all, 'batch', 'batches')}"
        if row.for_sets:
            state = f"{float(row.for_sets):g} more for sets; {state}"
        print(f"{place:>3}  {row.code[:6]:<6} {row.name[:34]:<34} {float(row.need):>4g} wanted {_text(row.worth.margin):>7} a piece {_text(row.worth.cash_per_hour):>7} an hour  {state}")
    _print_plan(told)
    if told.findings:
        _print_findings(told.findings)
    print(f"{told.path}: {'written' if told.written else 'nothing changed, file left as it is'}.")
    return STOPPED if told.plan is not None and told.plan.missed else DONE


def _print_plan(told: commands.ToMake) -> None:
    plan = told.plan
    if plan is None:
        return
    proof = ("best for the hours in all" if told.no_day else "proven the best") if plan.proven else f"at most {plan.bound:.2f} could come in, a gap of {plan.gap:.1%}"
    if told.no_day:
        proof += f"; {counted(told.no_day, 'batch', 'batches')} found no day"
    brings = sum(made.value for made in plan.made)
    counts = f", of which {plan.value:.2f} counts" if brings - plan.value > 0.005 else ""
    print(f"\nThe plan brings {brings:.2f}{counts} ({proof}):")
    for made in plan.made:
        if made.batches:
            print(f"     {made.name[:6]:<6} {counted(made.batches, 'batch', 'batches')}, {counted(made.pieces, 'piece')}, {made.value:.2f}")
    for missed in plan.missed:
        print(f" stop  {missed.why}")
    for limit in plan.binding[:5]:
        about = "" if limit.exact else "about "
        more = f"; {limit.resource.step_text} more brings {about}{limit.one_more:.2f}" if limit.one_more else ""
        print(f"     held back by {limit.resource.name}: {limit.said}{more}")
    for note in plan.notes:
        print(f" note  {note}")


def _record(asked: argparse.Namespace) -> int:
    done = commands.record(asked.book, asked.lists, _progress)
    _progress("")
    if done.asked:
        print(f"Say on the Shop columns tab what these headings mean, then read the list again: {', '.join(done.asked)}")
    if asked.lists and not done.asked:
        print(f"{counted(done.read, 'sale')} taken over, {counted(done.left_out, 'was', 'were')} there already.")
    print(f"{counted(done.batches, 'batch', 'batches')} and {counted(done.sales, 'sale')} booked.")
    for product, before, now in done.rates:
        print(f"{product}: sold a week {'-' if before is None else before} -> {now:g}")
    if done.findings:
        _print_findings(done.findings)
    print(f"{asked.book}: {'written' if done.written else 'nothing changed, file left as it is'}.")
    return STOPPED if done.asked or any(f.level in ("stop", "ask") for f in done.findings) else DONE


def _count(asked: argparse.Namespace) -> int:
    value, findings, written = commands.count(asked.book, _progress)
    _progress("")
    print(f"Stock at cost: {value:,.2f}. {'Count sheet written.' if written else 'Nothing changed.'}")
    if findings:
        _print_findings(findings)
    return DONE


def _lot(asked: argparse.Namespace) -> int:
    print("\n".join(commands.lot(asked.book, asked.name)))
    return DONE


def _picture(asked: argparse.Namespace) -> int:
    read, waits, made = commands.picture(asked.paper, asked.into)
    print(f"{read.supplier or 'no supplier'}, {read.number or 'no number'}, {read.issued or 'no date'}: {counted(len(read.lines), 'line')} read")
    for why in waits:
        print(f"  {why}")
    for path in made:
        print(f"{path}: green what is goods, brown other money, red what is in doubt")
    return DONE


def _takeback(asked: argparse.Namespace) -> int:
    if asked.list:
        return _print_states(asked.book)
    state = commands.takeback(asked.book, asked.number)
    if state is None:
        print(f"{asked.book} is in that state already, file left as it is.")
        return DONE
    print(f"{asked.book} is again as it was when it was saved over at {state.kept}.")
    print(f"To undo this: {NAME} takeback {_name(asked.book)}")
    return DONE


def _install(asked: argparse.Namespace) -> int:
    from costbook import desk

    if asked.remove:
        desk.remove(asked.profile)
        print("The costbook menu and toolbar are gone; start LibreOffice Calc anew.")
        return DONE
    _progress("putting the buttons into the office program")
    desk.install(asked.profile)
    _progress("")
    print("Start LibreOffice Calc anew and open your workbook: there is a menu costbook, and a toolbar. Press Price.")
    return DONE


def _excel(asked: argparse.Namespace) -> int:
    from costbook import desk

    first = asked.files[0] if asked.files else None
    if asked.do == "buttons":
        folder = first or Path("Excel buttons")
        desk.excel_buttons(folder)
        print(f"{folder}: one file for each button, to double-click while your workbook is open in Excel. An add-in is in its folder add-in.")
        return DONE
    if asked.do == "tryout":
        wrong, report = desk.tried_out(first or Path("costbook-excel-report.txt"))
        went = "all of it went well" if not wrong else f"{counted(wrong, 'of its lines says', 'of its lines say')} what went wrong"
        print(f"{report} is written; {went}. Please send it to us.")
        return STOPPED if wrong else DONE
    sentence, waits = desk.press_in_excel(asked.do, asked.files, asked.book, _progress)
    _progress("")
    print(sentence)
    return STOPPED if waits else DONE


def _doctor(asked: argparse.Namespace) -> int:
    from costbook import desk

    lines = desk.doctor(asked.book, asked.profile)
    for line in lines:
        print(f"{'ok  ' if line.fine else 'FIX '}  {line.what}")
        if not line.fine and line.do:
            print(f"      {line.do}")
    return DONE if all(line.fine for line in lines) else STOPPED


# ------------------------------------------------------------------ what is shown


def _print_states(book: Path) -> int:
    states = commands.saved_states(book)
    for number, state in enumerate(states, 1):
        print(f"{number:>3}  until {state.kept}  {state.size_bytes:>12,} bytes  {state.short}")
    if not states:
        print(f"No earlier state of {book.name} is kept yet.")
    return DONE


def _print_posted(posted: Sequence[commands.PostedPaper]) -> None:
    if not posted:
        print("There was no paper to post.")
        return
    width = max((len(p.file) for p in posted), default=4)
    print(f"{'Paper':<{width}}  {'Number':<14} {'Lines':>5}  State")
    for p in posted:
        print(f"{p.file:<{width}}  {p.paper[:14]:<14} {p.lines:>5}  {p.state}{': ' + p.why if p.why else ''}")


def _print_outcome(outcome: commands.Outcome) -> int:
    priced = outcome.priced
    wholesale, retail = _shown_channels(outcome)
    print(
        f"{'Code':<6} {'Product':<36} {'Unit cost':>9}  {'Wholesale':>9} {'Margin':>7} {'Proposed':>9}  {'Retail':>8} {'Kept':>7} {'Proposed':>9}"
    )
    tiers = {(t.product, t.channel): t for t in priced.tiers}
    for code, cost in priced.costs.items():
        whole, shop = tiers.get((code, wholesale)), tiers.get((code, retail))
        print(f"{code[:6]:<6} {priced.book.products[code].name[:36]:<36} {cost.unit_cost:>9.2f}  {_text(whole and whole.her_price):>9} {_share(whole.margin if whole else None):>7} "
              f"{_text(whole and whole.proposal):>9}  {_text(shop and shop.her_price):>8} {_share(shop.kept_fraction if shop else None):>7} {_text(shop and shop.proposal):>9}")  # fmt: skip
    for code, product in priced.book.products.items():
        if code not in priced.costs:
            print(f"{code[:6]:<6} {product.name[:36]:<36} {'no price':>9}")
    print()
    _print_findings(outcome.findings)
    print(f"{outcome.path}: {'written' if outcome.written else 'nothing changed, file left as it is'}.")
    return STOPPED if outcome.stopped else DONE


def _shown_channels(outcome: commands.Outcome) -> tuple[str, str]:
    """The first wholesale and the first retail channel with a target, for the short table."""
    channels = outcome.priced.book.channels.values()
    return tuple(next((c.name for c in channels if c.price == kind), "") for kind in ("wholesale", "retail"))  # type: ignore[return-value]


def _text(value: object) -> str:
    return "-" if value is None else f"{value:.2f}"


def _share(value: float | None) -> str:
    return "-" if value is None else f"{value:.1%}"


def _print_findings(findings: Sequence[Finding]) -> None:
    if not findings:
        print("Nothing to look at.")
    for f in findings[:SHOWN_FINDINGS]:
        print(f"{f.level:>5}  {f'{f.where}: ' if f.where else ''}{f.sentence}")
        if f.do and f.level in ("stop", "ask"):
            print(f"       {f.do}")
    if len(findings) > SHOWN_FINDINGS:
        print(f"       {len(findings) - SHOWN_FINDINGS} more on the Findings tab.")
