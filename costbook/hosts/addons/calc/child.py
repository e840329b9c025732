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
    """A running engine. `messages` fills with what it says; None is its end."""

    def __init__(self, command: list[str]) -> None:
        environment = {name: value for name, value in os.environ.items() if not name.startswith(NOT_ITS_OWN)}
        self._process = subprocess.Popen(
            command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            creationflags=NO_WINDOW if os.name == "nt" else 0,
        )  # fmt: skip
        self.messages: queue.Queue[dict[str, Any] | None] = queue.Queue()
        threading.Thread(target=self._listen, daemon=True).start()

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

    def send(self, message: dict[str, Any]) -> None:
        """Sends one message; to an engine that is gone, nothing."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(json.dumps(message).encode() + b"\n")
            self._process.stdin.flush()
        except OSError:
            self.messages.put(None)

    def end(self) -> None:
        """Ends the process at once: whatever it works on, only the office writes."""
        self._process.kill()
        self._process.wait()
