"""Keeps what compiled libraries print by themselves from whoever reads this program's output."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator


@contextlib.contextmanager
def without_prints() -> Iterator[None]:
    """What compiled libraries print goes nowhere for a while, so that it spoils nothing others read from this program."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        sys.stdout.flush()
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
