"""SIGTERM and Ctrl-C in every phase: copying, proving, closing the day, and while it stops.

Eight points of what `python tests/stops.py --points 40` plays; what is checked is told there.
strace(1) is the witness of when the signal came, and of the program's last call.
"""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest

from loopbench import Bench, own_namespace
from stops import calls_undisturbed, stopped_at

# In hundredths of the calls that the main thread makes until the day is signed: some 370, and fewer
# on a busy machine, where it does more in one turn (293 were seen). The first tenth makes the
# catalogue, before the program listens; the copies are made around the first third, and the
# manifest is published in the last quarter.
POINTS = [
    (1, "SIGINT"),
    (5, "SIGTERM"),
    (13, "SIGINT"),
    (20, "SIGTERM"),
    (25, "SIGTERM"),
    (30, "SIGINT"),
    (50, "SIGTERM"),
    (70, "SIGTERM"),
]


@pytest.fixture(scope="module")
def calls(tmp_path_factory: pytest.TempPathFactory) -> int:
    """How many it makes on this machine, now; undisturbed, the day is signed by itself."""
    if refused := own_namespace():
        pytest.skip(refused)
    folder = tmp_path_factory.mktemp("stops")
    with contextlib.closing(Bench(folder)) as undisturbed:
        return calls_undisturbed(folder, undisturbed)


@pytest.mark.parametrize(("share", "name"), POINTS)
def test_told_to_stop_at_a_call(
    bench: Bench, tmp_path: Path, calls: int, share: int, name: str
) -> None:
    """In ten seconds, with 0 and `Stopped.`; every final name true; the next start finishes."""
    stopped_at(tmp_path, bench, max(1, calls * share // 100), name)


def test_the_stops_are_where_they_are_meant_to_be(calls: int) -> None:
    """The shortest day that is closed makes so many calls: its points are apart."""
    assert calls > 100
