"""The engine as a process of its own: started once, asked over a pipe in JSON lines, ended to cancel.

It runs in its own Python with its own libraries; a crash or a hang there does not take the office along, and the end of
the office ends its input and so the engine.
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import threading
from typing import Any

NOT_ITS_OWN = ("PYTHON", "LD_LIBRARY_PATH", "URE_BOOTSTRAP")
NO_WINDOW = 0x08000000  # for Windows; elsewhere there is none to suppress


class Engine:
    """A running engine. `messages` fills with what it says; None is its end. `is_silent` tells that it was ended for saying nothing."""

    def __init__(self, command: list[str]) -> None:
        environment = {name: value for name, value in os.environ.items() if not name.startswith(NOT_ITS_OWN)}
        self._process = subprocess.Popen(
            command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            creationflags=NO_WINDOW if os.name == "nt" else 0,
        )  # fmt: skip
        self.messages: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._outgoing: queue.Queue[bytes] = queue.Queue()
        self.is_silent = False
        for work in (self._listen, self._write):
            threading.Thread(target=work, daemon=True).start()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            try:
                self.messages.put(json.loads(line))
            except ValueError:
                break  # what is no message is the end of an engine
        self.messages.put(None)

    @property
    def runs(self) -> bool:
        """Whether the process is there."""
        return self._process.poll() is None

    def _write(self) -> None:
        """On a thread of its own, as an engine that does not read would keep who sends waiting for ever."""
        assert self._process.stdin is not None
        try:
            while message := self._outgoing.get():
                self._process.stdin.write(message)
                self._process.stdin.flush()
        except OSError:
            self.messages.put(None)

    def send(self, message: dict[str, Any]) -> None:
        """Sends one message and does not wait; to an engine that is gone, nothing."""
        self._outgoing.put(json.dumps(message).encode() + b"\n")

    def heard(self, seconds: float) -> dict[str, Any] | None:
        """The next message; None at the end of the engine, and of one that says nothing for so many seconds, which is ended."""
        try:
            return self.messages.get(timeout=seconds)
        except queue.Empty:
            self.is_silent = True
            self.end()
            return None

    def end(self) -> None:
        """Ends the process at once: whatever it works on, only the office writes."""
        self._outgoing.put(b"")
        self._process.kill()
        self._process.wait()
