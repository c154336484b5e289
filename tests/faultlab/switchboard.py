"""The server's end of a fault server: faults that are switched while it serves.

One request a line of JSON on the socket that is the server's standard input: an object of the
faults to set. The answer is one line: the counts so far. When the socket ends, so does the server:
no server outlives the test that began it.
"""

from __future__ import annotations

import errno
import json
import os
import signal
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable
from typing import Any, NoReturn

import mfusepy

Order = Callable[[Any], None]


def fail(name: str) -> NoReturn:
    """End a request with an error of errno.h, by its name."""
    raise mfusepy.FuseOSError(getattr(errno, name))


class Switchboard:
    """The faults of now. `orders` are words that are carried out once and are no faults."""

    def __init__(self, orders: dict[str, Order] | None = None) -> None:
        self.counts: Counter[str] = Counter()
        self.faults: dict[str, Any] = {}
        self._orders = orders or {}
        self._changed = threading.Condition()

    def listen(self) -> None:
        """Answer in a thread of its own; called once the file system is mounted."""
        threading.Thread(target=self._answer, name="switchboard", daemon=True).start()

    def _answer(self) -> None:
        with socket.socket(fileno=0) as line, line.makefile("rw") as talk:
            for request in talk:
                self._obey(json.loads(request))
                talk.write(json.dumps(self.counts) + "\n")
                talk.flush()
        os.kill(os.getpid(), signal.SIGKILL)

    def _obey(self, request: dict[str, Any]) -> None:
        for word in self._orders.keys() & request.keys():
            self._orders[word](request.pop(word))
        with self._changed:
            self.faults = {**self.faults, **request}
            self._changed.notify_all()

    def get(self, fault: str, otherwise: Any = None) -> Any:
        """What a fault is set to; falsy while it is off."""
        return self.faults.get(fault, otherwise)

    def once(self, fault: str) -> Any:
        """The next of a list of faults, each of which happens once; None when it is used up."""
        with self._changed:
            waiting = self.faults.get(fault)
            return waiting.pop(0) if waiting else None

    def delay(self, word: str) -> None:
        """Count a request; hold it while `hang` names it, or for `slow` seconds."""
        with self._changed:
            self.counts[word] += 1
            self._changed.wait_for(lambda: word not in self.faults.get("hang", ()))
        if word == "read" and self.get("slow"):
            time.sleep(self.get("slow"))

    def hold(self, so: Callable[[], bool]) -> None:
        """Hold a request while this is so by the faults of now."""
        with self._changed:
            self._changed.wait_for(lambda: not so())
