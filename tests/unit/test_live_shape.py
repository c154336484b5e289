"""cli/live: what the loop shows is taken whole as it was shown, or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fakeworld import Site, take
from takehold.adapters.live import LiveFile
from takehold.cli.live import SHAPE, State, last_state
from takehold.engine.progress import snapshot
from takehold.home import Home

FILES = {b"T%02d.WAV" % n: take(n) for n in range(1, 4)}


@pytest.fixture
def place(tmp_path: Path) -> Home:
    return Home("", str(tmp_path), "")


@pytest.fixture
def shown(place: Home) -> State:
    """What a loop with a card and two drives showed."""
    site = Site()
    site.card("SND_A1", FILES)
    for label in ("SHUTTLE_1", "SHUTTLE_2"):
        site.drive(label)
    site.work()
    LiveFile(place.state).show(snapshot(site.engine, site.clock.steady_ns()))
    state = last_state(place)
    assert state is not None
    return state


def put(place: Home, text: str) -> None:
    (Path(place.state) / "live.json").write_text(text)


def test_each_part_may_be_of_another_program(place: Home, shown: State) -> None:
    """One key less, or of another kind, anywhere: as if nothing was shown."""
    assert len(shown["cards"]) == 1
    assert len(shown["destinations"]) == 2
    for key in SHAPE:
        for other in ({k: v for k, v in shown.items() if k != key}, {**shown, key: {"": 1}}):
            put(place, json.dumps(other))
            assert last_state(place) is None, key
    for part in ("cards", "destinations"):
        for key in SHAPE[part][0]:
            first = {k: v for k, v in shown[part][0].items() if k != key}
            put(place, json.dumps({**shown, part: [first]}))
            assert last_state(place) is None, (part, key)
    put(place, json.dumps(shown))
    assert last_state(place) == shown


@pytest.mark.parametrize("text", ["", "{}", "[]", "7", "[" * 100_000, '{"at":' * 100_000])
def test_noise_is_as_if_nothing_was_shown(place: Home, text: str) -> None:
    put(place, text)
    assert last_state(place) is None
