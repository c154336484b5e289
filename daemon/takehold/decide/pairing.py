"""Which channel of theirs is held against which of ours, and what all of them come to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from takehold.decide.likeness import EDGE, EXACT, LOSSY, Alike, Held, Manner, residual_db
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Relation

# By channel of ours, from 0: the channel of theirs, and how the two are held against each other.
Pairs = dict[int, tuple[int, Manner]]


def pairs(
    likes: Mapping[tuple[int, int], Alike], ours: int, theirs: int, otherwise: Manner
) -> Pairs:
    """The pairs of so many channels: what is alike first, then what is left.

    One to one; but that two of ours are the same, bit for bit, is no reason to miss one of them.
    A lossy mix may resemble every track that is in it: it is taken for what it is most like.
    A channel of theirs that is like none of ours may be one of ours gone wrong: it is held against
    that of its number, or the next that is left; `otherwise` says how, where nothing is alike.
    """
    found: Pairs = {}
    used: set[int] = set()
    best: dict[int, Alike] = {}
    for (_, other), one in likes.items():
        best[other] = max(best.get(other, one), one, key=lambda a: a.rank)
    near = [pair for pair, one in likes.items() if one.near(best[pair[1]])]
    ranked = sorted(near, key=lambda p: (*(-x for x in likes[p].rank), abs(p[0] - p[1]), p))
    for mine, other in ranked:
        if mine not in found and other not in used:
            found[mine] = other, likes[mine, other].manner
            used.add(other)
    for mine, other in ranked:
        if likes[mine, other].manner == EXACT:
            found.setdefault(mine, (other, EXACT))
    manners = [manner for _, manner in found.values()]
    if LOSSY in manners and theirs < ours:
        return found
    known = {other for _, other in likes}
    manner = max(manners, key=lambda m: (m.lossy, m.steps * m.step), default=otherwise)
    return _with_rest(found, [n for n in range(theirs) if n not in known], ours, manner)


def _with_rest(found: Pairs, strangers: list[int], ours: int, manner: Manner) -> Pairs:
    for other in list(strangers):
        if other < ours and other not in found:
            found[other] = other, manner
            strangers.remove(other)
    left = [mine for mine in range(ours) if mine not in found]
    for mine, other in zip(left, strangers, strict=False):
        found[mine] = other, manner
    return found


@dataclass(slots=True)
class Tally:
    """What the comparison met. Frames and channels are ours, channels from 0.

    `missing` and `further` are stretches, first and end (not included), in order: of ours that
    theirs lacks in a channel, and the reverse. `lacking` are the channels that it lacks them in,
    `alone` those of ours that sound and have no counterpart.
    """

    held: dict[int, Held]
    missing: list[tuple[int, int]] = field(default_factory=list)
    further: list[tuple[int, int]] = field(default_factory=list)
    lacking: set[int] = field(default_factory=set)
    alone: set[int] = field(default_factory=set)

    @property
    def lossy(self) -> bool:
        """Whether any channel is held against a lossy copy."""
        return any(held.manner.lossy for held in self.held.values())


def verdict(
    tally: Tally, ours: Side, theirs: Side, offset: int, at: int, *, one_layout: bool
) -> Comparison:
    """What it comes to; the worst is said: different, short, longer, reduced, the same.

    What is short or longer may be reduced besides: then it has the figures, and channels `alone`.
    """
    held = list(tally.held.values())
    inexact = [one for one in held if one.manner != EXACT]
    figures = [one.correlation for one in inexact if one.power]
    slack = 2 * EDGE if tally.lossy else 0
    missing, further = _frames(tally.missing), _frames(tally.further)
    frame: int | None = None
    frames: int | None = None
    channels: set[int] = set()
    alone: set[int] = set()
    differ = {n for n, one in tally.held.items() if one.first is not None or one.strange}
    if differ:
        relation, channels = Relation.DIFFERENT, differ
        frame = min((one.first for one in held if one.first is not None), default=None)
    elif missing > slack:
        relation, frame, frames = Relation.SHORT, tally.missing[0][0], missing
        channels, alone = tally.lacking, tally.alone
        channels = channels if len(channels) < len(tally.held) + len(alone) else set()
    elif further > slack:
        relation, frames, alone = Relation.LONGER, further, tally.alone
    elif inexact or tally.alone:
        relation, channels = Relation.REDUCED, tally.alone
    else:
        relation = Relation.SAME_AUDIO if one_layout and not offset else Relation.OTHER_LAYOUT
    return Comparison(
        ours,
        theirs,
        relation,
        at,
        frame,
        frames,
        _from_one(channels),
        offset if offset or tally.lossy else None,
        residual_db(inexact),
        min((f for f in figures if f is not None), default=None),
        _from_one(alone),
        further - missing if inexact and not differ else None,
    )


def _from_one(channels: set[int]) -> tuple[int, ...]:
    return tuple(n + 1 for n in sorted(channels))


def _frames(stretches: Iterable[tuple[int, int]]) -> int:
    return sum(end - begin for begin, end in stretches)
