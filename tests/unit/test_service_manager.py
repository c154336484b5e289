"""adapters/service_manager, against a socket as sd_notify(3) describes it."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from takehold.adapters import service_manager


@pytest.fixture(params=["path", "abstract"])
def wire(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Iterator[socket.socket]:
    """The manager's end; "@" stands for the abstract namespace (sd_notify(3))."""
    name = f"@takehold-test-{os.getpid()}" if request.param == "abstract" else f"{tmp_path}/notify"
    monkeypatch.setenv("NOTIFY_SOCKET", name)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as end:
        end.bind(name.replace("@", "\0", 1))
        end.settimeout(5)
        yield end


def test_the_lines_of_the_protocol(wire: socket.socket) -> None:
    """Each call sends one datagram with the assignment that sd_notify(3) names."""
    service_manager.ready()
    service_manager.watchdog()
    service_manager.stopping()
    service_manager.status("2 cards, 3 drives")
    assert [wire.recv(4096) for _ in range(4)] == [
        b"READY=1",
        b"WATCHDOG=1",
        b"STOPPING=1",
        b"STATUS=2 cards, 3 drives",
    ]


def test_a_status_stays_one_assignment(wire: socket.socket) -> None:
    """A line break in a name cannot add an assignment of its own."""
    service_manager.status("a\nWATCHDOG=trigger\r\u2028\udcff")
    assert wire.recv(4096) == b"STATUS=a WATCHDOG=trigger \\udcff"


@pytest.mark.parametrize(
    "address", [None, "", "no-path", "/nowhere/notify", "@nobody-listens-here"]
)
def test_silent_where_nobody_listens(monkeypatch: pytest.MonkeyPatch, address: str | None) -> None:
    """No socket, no manager, no form that is known: nothing happens."""
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    if address is not None:
        monkeypatch.setenv("NOTIFY_SOCKET", address)
    service_manager.ready()
    service_manager.status("fine")


@pytest.mark.parametrize(
    ("usec", "pid", "seconds"),
    [
        ("20000000", None, 10.0),
        ("20000000", "own", 10.0),
        ("20000000", "1", None),
        ("0", None, None),
        ("soon", None, None),
        (None, None, None),
    ],
)
def test_half_of_what_the_manager_waits(
    monkeypatch: pytest.MonkeyPatch, usec: str | None, pid: str | None, seconds: float | None
) -> None:
    """sd_watchdog_enabled(3): send at half of WATCHDOG_USEC, if WATCHDOG_PID is this process."""
    for name, value in (("WATCHDOG_USEC", usec), ("WATCHDOG_PID", pid)):
        monkeypatch.delenv(name, raising=False)
        if value is not None:
            monkeypatch.setenv(name, str(os.getpid()) if value == "own" else value)
    assert service_manager.watchdog_interval() == seconds
