"""What a comparison of takes says lands on their files; none is told whole that is not."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from takehold.decide.by_digest import WHOLE
from takehold.decide.likeness import EXACT, STEPS, Held, Manner
from takehold.decide.pairing import Tally, verdict
from takehold.decide.spread import spread
from takehold.decide.unit import Unit
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.recording import Recording
from twocards import HZ, Cards

TEN = 10 * 3_600 * HZ
HALF = np.full(1, 0.5)
SIXTEEN = Manner(STEPS, 2.0**-15)
Cell = tuple[int, int]
"""A channel of the side, from 0, and a frame from its first one."""


@dataclass
class Take:
    """A take of `width` tracks in parts: for each its frames, those lost before it, how divided."""

    width: int
    parts: list[tuple[int, int, list[int]]]
    cells: dict[int, set[Cell]] = field(default_factory=dict)
    unit: Unit = field(default_factory=lambda: Unit(()))

    def lay(self) -> None:
        """Make the files, and know which frames of which tracks each holds: by TimeReference."""
        cards, at, parts = Cards(), 0, []
        for number, (frames, gap, widths) in enumerate(self.parts):
            at += gap if number else 0
            channel, files = 0, []
            for width in widths:
                lines = [tuple(range(1, frames + 1))] * width
                file = cards.add(1, f"{number}_{channel}.WAV", lines, TEN + at)
                here = range(channel, channel + width)
                self.cells[file] = {(c, f) for c in here for f in range(at, at + frames)}
                files.append(cards.files[file])
                channel += width
            parts.append(tuple(files))
            at += frames
        self.unit = Unit(tuple(parts))

    def files(self) -> Iterator[tuple[Recording, set[Cell]]]:
        """Each file with what it holds."""
        for file in self.unit.files:
            yield file, self.cells[file.id]


@st.composite
def takes(draw: st.DrawFn) -> Take:
    """Of one to three tracks, in one to four parts, with gaps; each part poly or in more files."""
    width = draw(st.integers(1, 3))
    divisions = st.sampled_from([w for w in ([1] * width, [width], [1, width - 1]) if all(w)])
    part = st.tuples(st.integers(1, 30), st.sampled_from((0, 0, 1, 20)), divisions)
    take = Take(width, draw(st.lists(part, min_size=1, max_size=4)))
    take.lay()
    return take


@dataclass
class Truth:
    """What the backup has not: by track, the first frame that differs, frames, all of it."""

    firsts: dict[int, int]
    missing: set[Cell]
    alone: set[int]
    fewer_bits: bool

    def tally(self, width: int) -> Tally:
        """As a comparison would have met it."""
        manner = SIXTEEN if self.fewer_bits else EXACT
        held = {c: Held(manner, HZ) for c in range(width) if c not in self.alone}
        for channel, one in held.items():
            one.take(0, HALF, HALF)
            if channel in self.firsts:
                one.take(self.firsts[channel], HALF, -HALF)
        tally = Tally(held, alone=set(self.alone))
        for channel, frame in sorted(self.missing):
            tally.missing.setdefault(channel, []).append((frame, frame + 1))
        return tally


@st.composite
def truths(draw: st.DrawFn, take: Take) -> Truth:
    """Each track may be whole, not there, differ from a frame on, and lack stretches."""
    there = sorted(set().union(*(cells for _, cells in take.files())))
    alone = draw(st.sets(st.integers(0, take.width - 1), max_size=take.width - 1))
    mine = [cell for cell in there if cell[0] not in alone]
    chance = random.Random(draw(st.integers(0, 2**32)))
    missing: set[Cell] = set()
    for _ in range(draw(st.integers(0, 3))):
        channel, begin = chance.choice(mine)
        length = chance.choice((1, 5, 200))
        missing |= {(c, f) for c, f in mine if c == channel and begin <= f < begin + length}
    heard = [cell for cell in mine if cell not in missing]
    struck = [chance.choice(heard) for _ in range(draw(st.integers(0, 2))) if heard]
    return Truth(dict(sorted(struck, reverse=True)), missing, alone, draw(st.booleans()))


@given(st.data())
def test_no_file_is_told_whole_of_which_a_frame_of_a_track_is_not(data: st.DataObject) -> None:
    """What is missing, has no backup at all, or differs is told of the file that holds it."""
    take = data.draw(takes())
    truth = data.draw(truths(take))
    side = take.unit.side
    found = verdict(truth.tally(take.width), side, (999,), 0, 1, one_layout=False)
    answers = {answer.recording: answer for answer in spread(take.unit, found)}
    struck = set(truth.firsts.items())
    for file, cells in take.files():
        lost = {cell for cell in cells if cell in truth.missing or cell[0] in truth.alone}
        answer = answers[file.id]
        if lost or cells & struck:
            assert answer.relation not in WHOLE
        if cells & struck:
            assert answer.relation is Relation.DIFFERENT
        if lost == cells and len(take.unit.files) > 1:
            assert answer.relation is Relation.MISSING
        elif lost & truth.missing and answer.relation is not Relation.MISSING:
            told = answer.since is not None or answer.alone or answer.channels
            assert told
        first = min(truth.firsts.values(), default=10**9)
        if not lost and all(frame < first for _, frame in cells):
            assert answer.relation is (
                Relation.REDUCED if truth.fewer_bits else Relation.OTHER_LAYOUT
            )
    assert found.relation in WHOLE or any(a.relation not in WHOLE for a in answers.values())


@given(takes(), st.data())
def test_whatever_figures_a_comparison_has_it_is_told_of_one_file(
    take: Take, data: st.DataObject
) -> None:
    """Also of frames that no file is known to hold."""
    relation = data.draw(st.sampled_from([r for r in Relation if r not in WHOLE]))
    frame = data.draw(st.none() | st.integers(0, 300))
    frames = data.draw(st.none() | st.integers(1, 300))
    channels = data.draw(st.sets(st.integers(1, take.width)))
    found = Comparison(take.unit.side, (999,), relation, 1, frame, frames, tuple(sorted(channels)))
    assert any(answer.relation not in WHOLE for answer in spread(take.unit, found))
