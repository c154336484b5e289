"""What must not change how two cards are related, and what must.

Shuffling files, renaming them, editing their metadata, splitting and interleaving them never
changes a relation; flipping one sample always does. A comparer that knows the samples answers what
is asked for (tests/twocards.py); timecode is kept, as recorders keep it.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable
from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st

from takehold.model.finding import Counterpart, Relation
from twocards import HZ, Cards, Line

# What a backup may be of its take.
KINDS = ("same", "reduced", "mix", "short", "different", "missing")
WHOLE = {Relation.IDENTICAL, Relation.SAME_AUDIO, Relation.OTHER_LAYOUT}
FRAMES = 24


@dataclass(frozen=True)
class Shot:
    """One take: its tracks on either card."""

    number: int
    kind: str
    ours: tuple[Line, ...]
    theirs: tuple[Line, ...]

    @property
    def bits(self) -> int:
        return 16 if self.kind == "reduced" else 24


def shot(number: int, kind: str, tracks: int, silent: bool, chance: random.Random) -> Shot:
    """A take of noise; one more track is digital silence."""
    lines = [tuple(chance.randrange(1, 2**23) for _ in range(FRAMES)) for _ in range(tracks)]
    ours = tuple([*lines, (0,) * FRAMES] if silent else lines)
    theirs = {
        "mix": ours[:1],
        "short": tuple(line[: FRAMES // 2] for line in ours),
        "different": ((*ours[0][:9], ours[0][9] ^ 512, *ours[0][10:]), *ours[1:]),
        "missing": (),
    }.get(kind, ours)
    return Shot(number, kind, ours, theirs)


@dataclass
class Hand:
    """How the files of a card are laid out: each choice is drawn anew for each take."""

    chance: random.Random
    cards: Cards
    numbers: list[int]
    rename: bool
    edit: bool
    divide: bool
    interleave: bool

    def lay(self, of: int, taken: Shot) -> list[int]:
        """Write one take's files on a card."""
        lines = list(taken.ours if of == 1 else taken.theirs)
        if not lines:
            return []
        start = 9 * 3600 * HZ + taken.number * 10 * HZ
        if self.interleave:
            self.chance.shuffle(lines)
        mono = self.interleave and self.chance.random() < 0.5
        frames = len(lines[0])
        cuts = sorted(self.chance.sample(range(1, frames), 2)) if self.divide else []
        edges = [0, *cuts, frames]
        made = []
        for begin, end in itertools.pairwise(edges):
            piece = [line[begin:end] for line in lines]
            groups = [[one] for one in piece] if mono else [piece]
            for n, group in enumerate(groups, 1):
                made.append(self._file(of, taken, group, start + begin, f"{n:02}" if mono else ""))
        return made

    def _file(self, of: int, taken: Shot, lines: list[Line], start: int, index: str) -> int:
        word = self.chance.randrange(10**9) if self.rename else f"{taken.number}-{start}-{index}"
        bits = taken.bits if of == 2 else 24
        said = {"scene": "12", "take": str(taken.number), "set_index": index}
        if self.edit:
            said |= {"note": f"n{self.chance.randrange(99)}", "project": "P"}
        number = self.numbers.pop()
        return self.cards.add(of, f"{word}.WAV", lines, start, bits, number, **said)


def arranged(
    shots: Iterable[Shot], seed: int, moves: Iterable[str]
) -> tuple[Cards, dict[int, list[int]]]:
    """Both cards, and the primary files of each take."""
    chance = random.Random(seed)
    numbers = list(range(1, 2000))
    if "shuffle" in moves:
        chance.shuffle(numbers)
    cards = Cards()
    asked = {name: name in moves for name in ("rename", "edit", "divide", "interleave")}
    files: dict[int, list[int]] = {}
    order = [(of, one) for of in (1, 2) for one in shots]
    if "shuffle" in moves:
        chance.shuffle(order)
    for of, one in order:
        made = Hand(chance, cards, numbers, **asked).lay(of, one)
        if of == 1:
            files[one.number] = made
    return cards, files


def summary(answers: list[Counterpart]) -> str:
    """How the backup answers a take, whatever its files are."""
    kinds = {answer.relation for answer in answers}
    if Relation.DIFFERENT in kinds:
        return "different"
    if kinds == {Relation.MISSING}:
        return "missing"
    if kinds <= WHOLE:
        return "whole"
    figure = any(answer.residual_db is not None for answer in answers)
    return "reduced" if figure else "part"


def summaries(cards: Cards, files: dict[int, list[int]]) -> dict[int, str]:
    by_number = {answer.recording: answer for answer in cards.match().primaries}
    return {take: summary([by_number[n] for n in numbers]) for take, numbers in files.items()}


SHOTS = st.lists(
    st.tuples(st.sampled_from(KINDS), st.integers(2, 3), st.booleans()), min_size=1, max_size=4
)
MOVES = st.sets(st.sampled_from(("shuffle", "rename", "edit", "divide", "interleave")))
SEEDS = st.integers(0, 2**32)
TOLD = {"same": "whole", "mix": "part", "short": "part"}


def made(drawn: list[tuple[str, int, bool]], seed: int) -> list[Shot]:
    chance = random.Random(seed)
    return [shot(n, *one, chance) for n, one in enumerate(drawn, 1)]


@given(SHOTS, MOVES, SEEDS)
def test_no_other_arrangement_of_the_files_changes_a_relation(
    drawn: list, moves: set[str], seed: int
) -> None:
    shots = made(drawn, seed)
    expected = {one.number: TOLD.get(one.kind, one.kind) for one in shots}
    assert summaries(*arranged(shots, seed, ())) == expected
    assert summaries(*arranged(shots, seed, moves)) == expected


@given(SHOTS, MOVES, SEEDS, st.data())
def test_one_flipped_sample_always_does(
    drawn: list, moves: set[str], seed: int, data: st.DataObject
) -> None:
    """In any file of the backup card, in any arrangement of it."""
    shots = made([("same", tracks, silent) for _, tracks, silent in drawn], seed)
    cards, files = arranged(shots, seed, moves)
    assert set(summaries(cards, files).values()) == {"whole"}
    struck = data.draw(st.sampled_from(sorted(r.id for r in cards.card(2))))
    lines = [list(line) for line in cards.samples[struck]]
    track = data.draw(st.integers(0, len(lines) - 1))
    lines[track][data.draw(st.integers(0, len(lines[0]) - 1))] ^= 1 << data.draw(st.integers(0, 22))
    old = cards.files.pop(struck)
    said = old.description.metadata
    more = {"scene": said.scene, "take": said.take, "set_index": said.set_index}
    more |= {"note": said.note, "project": said.project}
    path = old.path.decode()
    cards.add(2, path, [tuple(x) for x in lines], said.time_reference, 24, struck, **more)
    found = summaries(cards, files)
    hurt = int(said.take)
    quiet = all(not any(line) for line in [*cards.samples[struck]])
    assert not quiet
    assert {take: how for take, how in found.items() if how != "whole"}.keys() == {hurt}


@given(SHOTS, MOVES, SEEDS)
def test_what_is_whole_by_its_digests_touches_no_sample(
    drawn: list, moves: set[str], seed: int
) -> None:
    shots = made([("same", tracks, silent) for _, tracks, silent in drawn], seed)
    cards, files = arranged(shots, seed, moves - {"divide"})
    assert set(summaries(cards, files).values()) == {"whole"}
    assert cards.asked == []
