"""What a service manager is told, by the protocol of sd_notify(3); silent where none listens."""

from __future__ import annotations

import os
import socket
from contextlib import suppress


def ready() -> None:
    """The start is done."""
    _tell("READY=1")


def status(text: str) -> None:
    """One line for people, shown by the service manager."""
    _tell("STATUS=" + " ".join(text.split()))


def watchdog() -> None:
    """A sign of life. Send it from the loop that does the work, never from a free timer."""
    _tell("WATCHDOG=1")


def stopping() -> None:
    """The stop has begun."""
    _tell("STOPPING=1")


def watchdog_interval() -> float | None:
    """Seconds between two signs of life; None where none are awaited.

    Half of what the manager waits, as sd_watchdog_enabled(3) recommends.
    """
    usec, pid = os.environ.get("WATCHDOG_USEC", ""), os.environ.get("WATCHDOG_PID", "")
    if not usec.isdecimal() or int(usec) == 0 or pid not in ("", str(os.getpid())):
        return None
    return int(usec) / 1_000_000 / 2


def _tell(line: str) -> None:
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as wire:
        wire.settimeout(1)
        wire.sendto(line.encode("utf-8", "backslashreplace"), address)
