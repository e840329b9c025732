"""The engine's process as the office sees it: one that never answers, one that does not read, one that is ended meanwhile.

Nothing here needs the office: what it runs for this is the standard library alone.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from costbook.hosts.addons.calc.child import Engine

ASLEEP = [sys.executable, "-c", "import time; time.sleep(600)"]
REAL = [sys.executable, "-m", "costbook.serving"]
LARGE = {"rows": ["x" * 1000] * 4000}  # many times what a pipe holds


@pytest.fixture
def engines() -> Iterator[list[Engine]]:
    started: list[Engine] = []
    yield started
    for engine in started:
        engine.end()


def test_one_that_never_answers_is_ended_and_told_apart(engines: list[Engine]) -> None:
    engines.append(engine := Engine(ASLEEP))
    engine.send(LARGE)  # it reads nothing: who sends goes on
    assert engine.runs
    assert engine.heard(0.2) is None and engine.is_silent and not engine.runs


def test_one_that_is_stopped_in_the_middle_is_ended_and_the_next_answers(engines: list[Engine]) -> None:
    engines.append(stopped := Engine(REAL))
    os.kill(stopped._process.pid, signal.SIGSTOP)
    stopped.send({"do": "price", "path": "no such book.xlsx"})
    assert stopped.heard(0.5) is None and stopped.is_silent and not stopped.runs
    engines.append(fresh := Engine(REAL))
    fresh.send({"do": "price", "path": "no such book.xlsx"})
    asked = fresh.heard(60)
    while asked and "say" in asked:
        asked = fresh.heard(60)
    assert asked == {"ask": "snapshot"} and fresh.runs and not fresh.is_silent


def test_cancelling_ends_the_wait_at_once(engines: list[Engine]) -> None:
    engines.append(engine := Engine(ASLEEP))
    engine.send(LARGE)
    threading.Timer(0.3, engine.end).start()
    began = time.monotonic()
    assert engine.heard(300) is None and not engine.is_silent
    assert time.monotonic() - began < 200, "it ended with the engine, not with the wait"


def test_one_that_says_what_is_no_message_is_at_its_end(engines: list[Engine]) -> None:
    engines.append(engine := Engine([sys.executable, "-c", "print('not a message')"]))
    assert engine.heard(60) is None and not engine.is_silent
