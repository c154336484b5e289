"""SIGTERM and Ctrl-C in every phase: copying, proving, closing the day, and while it stops.

Eight points of what `python tests/stops.py --points 40` plays; what is checked is told there.
strace(1) is the witness of when the signal came, and of the program's last call.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from loopbench import Bench
from stops import calls_undisturbed, stopped_at

# The main thread makes some 370 such calls until the day is signed, and fewer on a busy machine,
# where it does more in one turn (293 were seen): the first 35 or so make the catalogue, before the
# program listens; the copies are made around the 100th, and the manifest is published in the last
# quarter.
POINTS = [
    (5, "SIGINT"),
    (20, "SIGTERM"),
    (45, "SIGINT"),
    (70, "SIGTERM"),
    (85, "SIGTERM"),
    (100, "SIGINT"),
    (170, "SIGTERM"),
    (240, "SIGTERM"),
]


@pytest.mark.parametrize(("number", "name"), POINTS)
def test_told_to_stop_at_a_call(bench: Bench, tmp_path: Path, number: int, name: str) -> None:
    """In ten seconds, with 0 and `Stopped.`; every final name true; the next start finishes."""
    stopped_at(tmp_path, bench, number, name)


def test_the_stops_are_where_they_are_meant_to_be(bench: Bench, tmp_path: Path) -> None:
    """Undisturbed, the day is signed by itself, within more calls than the last point's."""
    assert calls_undisturbed(tmp_path, bench) > max(number for number, _ in POINTS)
