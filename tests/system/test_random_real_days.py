"""Random days on real volumes with the real program: a slice; `real.py` goes on by the dozen.

What a recorder, a mixer and bad luck do on such a day is common practice, no source. What is
checked uses no line of the product: `ssh-keygen -Y verify`, `sha256sum -c`, `xxhsum -c`, JSON.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path

import pytest

from cardmaker import put
from faultlab.lab import Lab
from loopbench import own_namespace
from randomdays.real import history
from randomdays.real_world import RealWorld


@pytest.fixture(autouse=True)
def namespace() -> None:
    """Mounts are seen in this process and its children only."""
    if refused := own_namespace():
        pytest.skip(refused)


@pytest.mark.parametrize("number", [3])
def test_a_day_on_real_volumes_breaks_no_promise(number: int, tmp_path: Path) -> None:
    """Whatever comes, nothing is lost, overwritten or called proven falsely; then all is proven."""
    days, _ = history(number, tmp_path, most=1)
    assert days == 1


def _on_the_card(world: RealWorld) -> None:
    put(world.cards[0].mount, "ours.txt", b"x")


def _other_bytes(world: RealWorld) -> None:
    put(world.drives[0].mount, "Lantern Bay/T01.WAV", b"not what a card gave")


def _gone(world: RealWorld) -> None:
    (world.drives[0].mount / "notes.txt").unlink()


def _overwritten(world: RealWorld) -> None:
    put(world.drives[0].mount, "notes.txt", b"others")


@pytest.mark.parametrize(
    ("spoil", "promise"),
    [(_on_the_card, "P1"), (_other_bytes, "P3"), (_gone, "P2"), (_overwritten, "P2")],
)
def test_the_checks_of_a_real_day_can_fail(
    spoil: Callable[[RealWorld], None], promise: str, tmp_path: Path
) -> None:
    """A card written to, a false final name, a file removed or overwritten: each is said."""
    with contextlib.closing(Lab(tmp_path)) as lab:
        world = RealWorld(1, lab)
        world.days = world.begin_days(1)
        for thing in (world.cards[0], world.drives[0]):
            world.put_in(thing)
        put(world.drives[0].mount, "notes.txt", b"somebody's")
        world.drives[0].stood["notes.txt"] = b"somebody's"
        world.look()
        spoil(world)
        with pytest.raises(AssertionError, match=promise):
            world.look()
