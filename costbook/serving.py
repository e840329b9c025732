"""The engine behind a button: asked over a pipe, it works on the open workbook and says in one sentence what came of it.

JSON lines. The office says {"do": ..., "path": ...}; the engine says {"say": words} as it goes on, asks {"ask": "snapshot"}
and {"ask": "apply", "edits": ...}, each answered by one line, and ends with {"told": {"level", "sentence", "findings"}}.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from costbook import commands
from costbook.amounts.numbers import counted
from costbook.errors import CostbookError, HostUnavailable
from costbook.hosts.calc import CalcDocument, Plain
from costbook.hosts.opening import Host

Write = Callable[[str], object]
SAME = "Nothing changed: the workbook shows all of it already."


def quiet(_: str) -> None:
    """Tell nobody."""


def serve(lines: Iterator[str], write: Write) -> None:
    """Does what each line asks for, until there are no more."""

    def send(message: Plain) -> None:
        write(json.dumps(message) + "\n")

    def ask(question: Plain) -> Plain:
        send(question)
        answer = next(lines, "")
        if not answer:
            raise HostUnavailable("the office program has ended.")
        read: Plain = json.loads(answer)
        return read

    for line in lines:
        wanted = json.loads(line)
        host = CalcDocument(ask, Path(wanted["path"]))
        try:
            told = DOES[wanted["do"]](host, wanted, lambda words: send({"say": words}))
        except CostbookError as error:
            told = {"level": "failed", "sentence": str(error)}
        send({"told": told})


def _price(host: Host, wanted: Plain, tell: commands.Tell) -> Plain:
    outcome = commands.price(host, tell)
    all_of_them, priced = len(outcome.priced.book.products), len(outcome.priced.costs)
    sentence = f"{priced} of {counted(all_of_them, 'product')} priced, {counted(len(outcome.findings), 'finding')}."
    return _told(sentence if outcome.written else f"{SAME} {sentence}", outcome.written, outcome.stopped, bool(outcome.findings))


def _changed(host: Host, wanted: Plain, tell: commands.Tell) -> Plain:
    done = commands.changed(host, tell)
    newly = len(done.impact.crossed)
    sentence = f"{done.sentence} {counted(newly, 'price')} newly under the floor." if done.impact.news else done.sentence
    stopped = any(f.level == "stop" for f in done.findings)
    return _told(sentence if done.written else f"{SAME} {sentence}", done.written, stopped, bool(done.findings))


def _next(host: Host, wanted: Plain, tell: commands.Tell) -> Plain:
    made = commands.make_next(host, tell=tell)
    first = next((row for row in made.rows if row.need > 0), None)
    sentence = f"First: {first.name}, {first.reason.rstrip('.')}." if first else "There is nothing that must be made."
    stopped = any(f.level == "stop" for f in made.findings)
    return _told(sentence if made.written else f"{SAME} {sentence}", made.written, stopped, False)


def _post(host: Host, wanted: Plain, tell: commands.Tell) -> Plain:
    papers = commands.post(host, [Path(name) for name in wanted.get("papers", ())], tell)
    states = [paper.state for paper in papers]
    waits = [paper for paper in papers if paper.state not in ("posted", "already there")]
    if not papers:
        return _told("There was no paper to post.", False, False, False)
    sentence = ", ".join(f"{counted(states.count(state), 'paper')} {state}" for state in dict.fromkeys(states)) + "."
    if waits:
        sentence += f" {waits[0].file}: {waits[0].why.rstrip('.')}."
    if "to review" in states:
        sentence += " Now answer what waits on the Invoice review tab, and press Post papers once more."
    done = [paper for paper in papers if paper.state == "posted"]
    if done:
        sentence += f" {'For what was posted' if 'to review' in states else 'Now'} press {'What changed' if any(paper.announces for paper in done) else 'Price'}."
    return _told(sentence, "posted" in states, bool(waits), False)


def _told(sentence: str, written: bool, stopped: bool, findings: bool) -> Plain:
    level = "look" if stopped else "done" if written else "same"
    return {"level": level, "sentence": sentence, "findings": findings}


Does = Callable[[Host, dict[str, Any], commands.Tell], Plain]
DOES: dict[str, Does] = {"price": _price, "changed": _changed, "next": _next, "post": _post}


def main() -> None:
    """Serves standard input and output until the office closes them."""

    def write(line: str) -> None:
        sys.stdout.write(line)
        sys.stdout.flush()

    serve(iter(sys.stdin.readline, ""), write)


if __name__ == "__main__":
    main()
