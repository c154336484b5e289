"""The lock against sleep, granted: by the real systemd-inhibit(1), over a real message bus.

This machine runs no systemd, so the login service is a stand-in (tests/login_service.py): it sees
the call as systemd-logind does, and the lock as a descriptor of which a copy is open or not.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardmaker import fill
from faultlab.checker import whole
from faultlab.lab import Lab, faulty_lab  # noqa: F401
from instance import Instance
from login_service import LoginService
from loopbench import Bench

MANY = [(1 + n // 20, 1 + n % 20) for n in range(80)]


@pytest.fixture
def login(tmp_path: Path) -> Iterator[LoginService]:
    with LoginService(tmp_path) as service:
        yield service


class Cart:
    """A card, a drive, and a takehold that reaches the service."""

    def __init__(self, bench: Bench, lab: Lab, folder: Path, login: LoginService) -> None:
        self.drive = bench.disk("drive", "ext4", label="SHUTTLE_1")
        self.card = lab.layer("SND_A1")
        self.made = fill(self.card.folder, MANY, seconds=0.05)
        self.takehold = Instance(
            folder / "laptop",
            {"primary": ("primary", "SND_A*")},
            {"shuttle-1": "SHUTTLE_1"},
            {"copies_required": 1},
            {"DBUS_SYSTEM_BUS_ADDRESS": login.address},
        )

    def copied(self) -> set[str]:
        return whole(self.drive.mount, self.made)


@pytest.fixture
def cart(bench: Bench, lab: Lab, tmp_path: Path, login: LoginService) -> Cart:
    return Cart(bench, lab, tmp_path, login)


def test_the_lock_is_held_while_copying_and_let_go_of_after_it(
    cart: Cart, login: LoginService
) -> None:
    """One lock for all the files; let go of while the daemon lives on, and nothing is said."""
    assert login.held() == 0
    cart.card.set(hang=["read"])  # the work is not done before the lock is granted
    with cart.takehold.daemon() as daemon, contextlib.ExitStack() as ends:
        ends.callback(cart.card.mend)
        daemon.wait_for(lambda: login.held() == 1)
        assert cart.copied() < cart.made.keys()
        cart.card.mend()
        daemon.wait_for(lambda: cart.copied() == cart.made.keys() and daemon.is_idle())
        daemon.wait_for(lambda: login.held() == 0)
        assert daemon.process.poll() is None
        assert daemon.state()["notes"] == []
        assert daemon.stop() == 0
    [(what, who, why, mode)] = login.asked
    assert (what, who, mode) == ("sleep:idle", "takehold", "block")
    assert "copied" in why


def test_a_stop_in_the_middle_lets_go(cart: Cart, login: LoginService) -> None:
    """SIGTERM while the lock is held."""
    with cart.takehold.daemon() as daemon:
        daemon.wait_for(lambda: login.held() == 1)
        assert daemon.stop() == 0
    cart.takehold.wait_for(lambda: login.held() == 0)


def test_a_kill_closes_the_descriptor(cart: Cart, login: LoginService) -> None:
    """SIGKILL runs no clean-up, and the laptop may sleep again all the same."""
    with cart.takehold.daemon() as daemon:
        daemon.wait_for(lambda: login.held() == 1)
        daemon.kill()
        cart.takehold.wait_for(lambda: login.held() == 0)


def test_a_refusal_of_the_service_is_said(cart: Cart, login: LoginService) -> None:
    """What the service answers reaches the person; everything is copied."""
    login.refuses = True
    with cart.takehold.daemon() as daemon:
        daemon.wait_for(lambda: cart.copied() == cart.made.keys() and daemon.is_idle())
        daemon.wait_for(lambda: bool(daemon.state()["notes"]))
        [note] = daemon.state()["notes"]
        assert "Access denied" in note
        assert daemon.stop() == 0
    assert login.held() == 0
