"""Another layout never changes what a comparison says; one sample always does."""

from __future__ import annotations

import tempfile
from itertools import pairwise
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from comparing import Sides, floor, wave
from takehold.model.finding import Relation

FRAMES, TRACKS = 110_000, 3
AUDIO: NDArray[np.int32] = np.rint(
    np.stack([floor(FRAMES, n, -40 - 10 * n) for n in range(TRACKS)], axis=1) * 2**23
).astype("<i4")
SAME = {Relation.SAME_AUDIO, Relation.OTHER_LAYOUT}

cuts = st.lists(st.integers(1, FRAMES - 1), max_size=3, unique=True).map(sorted)
orders = st.permutations(range(TRACKS))
begins = st.one_of(st.none(), st.integers(0, 86_400 * 48_000 - 1))


def side(
    audio: NDArray[np.int32], at: list[int], order: list[int], begin: int | None, monos: bool
) -> list[bytes]:
    """Parts, each one file or as many as there are tracks."""
    files = []
    edges = [0, *at, FRAMES]
    for first, last in pairwise(edges):
        here = None if begin is None else (begin + first) % (86_400 * 48_000)
        piece = audio[first:last, order]
        rows = [piece[:, n] for n in range(TRACKS)] if monos else [piece]
        files += [wave(row, begin=here) for row in rows]
    return files


@settings(max_examples=40)
@given(
    ours=cuts,
    theirs=cuts,
    order=orders,
    begin=begins,
    monos=st.booleans(),
    frame=st.integers(0, FRAMES - 1),
    track=st.integers(0, TRACKS - 1),
    bit=st.integers(0, 23),
    blocks=st.booleans(),
)
def test_layout_says_nothing_and_one_sample_all(
    ours: list[int],
    theirs: list[int],
    order: list[int],
    begin: int | None,
    monos: bool,
    frame: int,
    track: int,
    bit: int,
    blocks: bool,
) -> None:
    """Parts, order and files of either side; then any bit of any sample."""
    if begin is None:  # without timecode only one part can be in monos
        theirs = [] if monos else theirs
    with tempfile.TemporaryDirectory() as folder:
        sides = Sides(Path(folder))
        mine = side(AUDIO, ours, list(range(TRACKS)), begin, False)
        same = sides.compare(mine, side(AUDIO, theirs, order, begin, monos), blocks=blocks)
        assert same.relation in SAME
        other = AUDIO.copy()
        value = (int(other[frame, track]) & 0xFFFFFF) ^ 1 << bit
        other[frame, track] = value - ((value & 0x800000) << 1)
        found = sides.compare(mine, side(other, theirs, order, begin, monos), blocks=blocks)
        assert (found.relation, found.frame) == (Relation.DIFFERENT, frame)
        assert found.channels == (track + 1,)
