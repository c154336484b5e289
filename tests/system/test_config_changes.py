"""The config changes under a running daemon, for the worse and for the better (SIGHUP)."""

from __future__ import annotations

import signal
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardmaker import fill, today
from faultlab.checker import whole
from instance import Daemon, Instance
from loopbench import Bench, Disk

KEPT = "The config was not taken; the old one goes on."
TAKEN = "The config was read again."
MANY = [(1 + n // 20, 1 + n % 20) for n in range(60)]


@dataclass
class Unit:
    """One card, two drives of which the config names the first."""

    card: Disk
    drives: tuple[Disk, Disk]
    takehold: Instance

    def on(self, number: int, made: dict[str, bytes]) -> set[str]:
        return whole(self.drives[number].mount, made)

    def hang_up(self, daemon: Daemon, says: str) -> None:
        """SIGHUP, until the log has one line more with these words."""
        before = self.takehold.log().count(says)
        daemon.send(signal.SIGHUP)
        daemon.wait_for(lambda: self.takehold.log().count(says) == before + 1)


@pytest.fixture
def unit(bench: Bench, tmp_path: Path) -> Unit:
    card = bench.disk("card", label="SND_A1")
    drives = bench.disk("d1", label="SHUTTLE_1"), bench.disk("d2", label="SHUTTLE_2")
    takehold = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )
    return Unit(card, drives, takehold)


def removed(config: Path) -> None:
    config.unlink()


def unreadable(config: Path) -> None:
    """A folder in its place: the rights of a file keep nobody out who is root."""
    config.unlink()
    config.mkdir()


def with_text(text: bytes) -> Callable[[Path], None]:
    return lambda config: config.write_bytes(text) and None  # type: ignore[func-returns-value]


def half_written(config: Path) -> None:
    text = config.read_bytes()
    config.write_bytes(text[: text.index(b"label") + 8])


def unknown_key(config: Path) -> None:
    config.write_bytes(b'colour = "blue"\n' + config.read_bytes())


WORSE = {
    "removed": removed,
    "unreadable": unreadable,
    "empty": with_text(b""),
    "half written": half_written,
    "unknown key": unknown_key,
    "noise": with_text(bytes(range(256)) * 40),
    "too deep": with_text(b"a = " + b"[" * 200_000),
    "too long": with_text(b"# " + b"x" * (3 << 20)),
}


def test_a_config_that_cannot_be_used_changes_nothing(unit: Unit):
    """Each way to spoil it: said once, the old one goes on copying; mended, it is taken."""
    good = unit.takehold.config.read_bytes()
    made = fill(unit.card.mount, [(1, 1)])
    with unit.takehold.daemon() as daemon:
        for number, (name, spoil) in enumerate(WORSE.items(), 2):
            spoil(unit.takehold.config)
            unit.hang_up(daemon, KEPT)
            made |= fill(unit.card.mount, [(1, number)])
            daemon.wait_for(lambda: unit.on(0, made) == made.keys())
            if unit.takehold.config.is_dir():
                unit.takehold.config.rmdir()
            unit.takehold.config.write_bytes(good)
            assert daemon.process.poll() is None, name
        unit.takehold.write_config(copies_required=1, reserve_megabytes=2)
        unit.hang_up(daemon, TAKEN)
        assert daemon.stop() == 0
    assert unit.takehold.log().count(KEPT) == len(WORSE)
    assert "Traceback" not in unit.takehold.said()


def test_status_says_that_the_config_is_spoiled(unit: Unit):
    """What the running daemon shows is not hidden by it."""
    fill(unit.card.mount, [(1, 1)])
    with unit.takehold.daemon() as daemon:
        daemon.wait_for(lambda: daemon.cards() == {"SND_A1"} and daemon.is_idle())
        unit.takehold.config.write_text("production = ")
        status = unit.takehold.facts("status", status=1)
        assert status["running"] is True
        assert [card["label"] for card in status["cards"]] == ["SND_A1"]
        assert any("goes on with the one that it read before" in n["says"] for n in status["needs"])
        assert daemon.stop() == 0


def test_another_destination_while_copying(unit: Unit):
    """The new drive gets every recording, what lies on the old one is true; both are claimed."""
    made = fill(unit.card.mount, MANY, seconds=0.05)
    with unit.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(unit.on(0, made)) >= 3)
        unit.takehold.destinations = {"shuttle-2": "SHUTTLE_2"}
        unit.takehold.write_config()
        unit.hang_up(daemon, TAKEN)
        daemon.wait_for(lambda: unit.on(1, made) == made.keys() and daemon.is_idle())
        assert daemon.stop() == 0
    old = unit.on(0, made)
    day = unit.takehold.facts("wrap", today(), status=0)
    claims = {f["path"]: {c["destination"] for c in f["copies"]} for f in day["files"]}
    assert all("shuttle-2" in held for held in claims.values())
    assert {path for path, held in claims.items() if "shuttle-1" in held} <= old


def test_a_source_that_goes_while_it_is_copied(bench: Bench, unit: Unit):
    """Taken out of the config and back in: the same load, nothing twice, everything there."""
    made = fill(unit.card.mount, MANY, seconds=0.05)
    other = bench.disk("other", label="TRK_C1")
    extra = fill(other.mount, [(9, 1)])
    sources = unit.takehold.sources
    with unit.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(unit.on(0, made)) >= 3)
        unit.takehold.sources = {"track": ("primary", "TRK_C*")}
        unit.takehold.write_config()
        unit.hang_up(daemon, TAKEN)
        daemon.wait_for(lambda: extra.keys() <= unit.on(0, made | extra))
        unit.takehold.sources = {**sources, **unit.takehold.sources}
        unit.takehold.write_config()
        unit.hang_up(daemon, TAKEN)
        made |= extra
        daemon.wait_for(lambda: unit.on(0, made) == made.keys() and daemon.is_idle())
        assert daemon.stop() == 0
    day = unit.takehold.facts("wrap", today(), status=0)
    assert len(day["files"]) == len(made)
    assert len({file["load"] for file in day["files"]}) == 2
