"""Which channel of theirs is held against which of ours, and what all of them come to."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from takehold.decide.likeness import (
    EDGE,
    EXACT,
    LOSSY,
    WITHIN_SHARE,
    Alike,
    Held,
    Manner,
    residual_db,
)
from takehold.model.comparison import Comparison, Side, Stretch
from takehold.model.finding import Relation

# By channel of ours, from 0: the channel of theirs, and how the two are held against each other.
Pairs = dict[int, tuple[int, Manner]]
# What a file tells of a track: its number and its name.
Told = tuple[int, str]


def pairs(
    likes: Mapping[tuple[int, int], Alike],
    ours: int,
    theirs: int,
    otherwise: Manner,
    apart: AbstractSet[tuple[int, int]] = frozenset(),
) -> Pairs:
    """The pairs of so many channels: what is alike first, then what is left.

    One to one; but that two of ours are the same is no reason to miss one of them.
    A lossy mix may resemble every track that is in it: it is taken for what it is most like.
    One of the `strangers` may be one of ours gone wrong: it is held against that of its number, or
    the next that is left, but for those that are `apart`; `otherwise` says how, where nothing is
    alike.
    """
    found: Pairs = {}
    used: set[int] = set()
    best = _best(likes, 1)
    by_rank = sorted(likes, key=lambda p: (*(-x for x in likes[p].rank), abs(p[0] - p[1]), p))
    ranked = [pair for pair in by_rank if likes[pair].near(best[pair[1]])]
    # Both sides of an MP3 may be one mix: then neither is what the mix is only like.
    twins, most = _twins(likes), _best(likes, 0)
    ranked = [p for p in ranked if p[0] not in twins or likes[p].near(most[p[0]])]
    # Of two tracks with the same samples one may have gone wrong in either.
    damaged = (pair for pair in by_rank if likes[pair].rank >= (3, WITHIN_SHARE))
    for mine, other in (*ranked, *damaged):
        if mine not in found and other not in used:
            found[mine] = other, likes[mine, other].manner
            used.add(other)
    for mine, other in ranked:
        if likes[mine, other].manner == EXACT:
            found.setdefault(mine, (other, EXACT))
    held = {twins[mine]: one for mine, one in found.items() if mine in twins}
    found |= {mine: held[n] for mine, n in twins.items() if n in held and mine not in found}
    manners = [manner for _, manner in found.values()]
    if LOSSY in manners and theirs < ours:
        return found
    manner = max(manners, key=lambda m: (m.lossy, m.steps * m.step), default=otherwise)
    left = [n for n in strangers(likes, theirs) if n not in used]
    return _with_rest(found, left, ours, manner, apart)


def other_tracks(
    ours: Sequence[Told | None], theirs: Sequence[Told | None]
) -> AbstractSet[tuple[int, int]]:
    """The channels of both that tell that they are two tracks: by their numbers and their names."""
    return {
        (mine, other)
        for mine, one in enumerate(ours)
        for other, its in enumerate(theirs)
        if one and its and one[0] != its[0] and one[1] != its[1]
    }


def answering(likes: Mapping[tuple[int, int], Alike]) -> Counter[int]:
    """How many channels of ours each of theirs answers, of those that are alike."""
    return Counter(other for other, _ in pairs(likes, 0, 0, EXACT).values())


def doubled(likes: Mapping[tuple[int, int], Alike]) -> set[int]:
    """The channels of ours that are the same and have one channel of theirs together."""
    times = answering(likes)
    return {n for n, (other, _) in pairs(likes, 0, 0, EXACT).items() if times[other] > 1}


def strangers(likes: Mapping[tuple[int, int], Alike], theirs: int) -> list[int]:
    """The channels of theirs, of so many, that are like none of ours.

    What equals one of ours in a part only, as two tracks may for a while, while another of theirs
    does in more of it, is no likeness.
    """
    best = _best(likes, 0)
    like = {p[1] for p, one in likes.items() if one.manner != EXACT or one.near(best[p[0]])}
    return [n for n in range(theirs) if n not in like]


def _twins(likes: Mapping[tuple[int, int], Alike]) -> dict[int, int]:
    """Channels of ours that are like theirs to the last figure, so the same: the first of such.

    None that are the same as one of theirs, of which blocks and samples tell more.
    """
    rows: dict[int, dict[int, Alike]] = defaultdict(dict)
    for (mine, other), one in sorted(likes.items(), key=lambda like: like[0]):
        rows[mine][other] = one
    only = {m: row for m, row in rows.items() if all(a.manner != EXACT for a in row.values())}
    firsts = {m: next(n for n in only if only[n] == row) for m, row in only.items()}
    times = Counter(firsts.values())
    return {mine: first for mine, first in firsts.items() if times[first] > 1}


def _best(likes: Mapping[tuple[int, int], Alike], side: int) -> dict[int, Alike]:
    """What each channel of ours (side 0), or of theirs (1), is most like."""
    best: dict[int, Alike] = {}
    for pair, one in likes.items():
        best[pair[side]] = max(best.get(pair[side], one), one, key=lambda a: a.rank)
    return best


def _with_rest(
    found: Pairs,
    strangers: list[int],
    ours: int,
    manner: Manner,
    apart: AbstractSet[tuple[int, int]],
) -> Pairs:
    same = [n for n in strangers if n < ours and n not in found and (n, n) not in apart]
    found |= {n: (n, manner) for n in same}
    left = [n for n in strangers if n not in same]
    for mine in range(ours):
        other = next((n for n in left if (mine, n) not in apart), None)
        if mine not in found and other is not None:
            found[mine] = other, manner
            left.remove(other)
    return found


@dataclass(slots=True)
class Tally:
    """What the comparison met. Frames and channels are ours, channels from 0.

    `missing` and `further` are stretches, first and end (not included), in order: of ours that
    theirs lacks, by channel, and what any channel of theirs has further. `alone` are the channels
    of ours that sound and have no counterpart, `theirs_alone` those of theirs.
    """

    held: dict[int, Held]
    missing: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    further: list[tuple[int, int]] = field(default_factory=list)
    alone: set[int] = field(default_factory=set)
    theirs_alone: set[int] = field(default_factory=set)

    @property
    def lossy(self) -> bool:
        """Whether any channel is held against a lossy copy."""
        return any(held.manner.lossy for held in self.held.values())


def verdict(
    tally: Tally, ours: Side, theirs: Side, offset: int, at: int, *, one_layout: bool
) -> Comparison:
    """What it comes to; the worst is said: different, short, longer, reduced, the same.

    Of what nothing shows to be this take, and not another, it is `not comparable`, with figures.

    What is worse than reduced may be that besides: then it has the figures, and channels `alone`;
    what differs may be short besides.
    """
    held = list(tally.held.values())
    inexact = [one for one in held if one.manner != EXACT]
    figures = [one.correlation for one in inexact if one.power]
    slack = 2 * EDGE if tally.lossy else 0
    lost = sorted({stretch for some in tally.missing.values() for stretch in some})
    missing, further = _frames(lost), _frames(tally.further)
    frame: int | None = None
    frames: int | None = None
    channels: set[int] = set()
    alone = tally.alone
    differ = {n for n, one in tally.held.items() if one.first is not None or one.strange}
    if differ:
        relation, channels = Relation.DIFFERENT, differ
        firsts = [tally.held[n].first for n in differ]
        frame = min((f for f in firsts if f is not None), default=None)
        frame = None if None in firsts else frame  # then all of a channel differs
    elif any(one.unshown for one in held):
        relation, missing = Relation.UNDECODED, 0
    elif missing > slack:
        relation, frame, frames = Relation.SHORT, lost[0][0], missing
        channels = set(tally.missing)
        channels = channels if len(channels) < len(tally.held) + len(alone) else set()
    elif further > slack:
        relation, frames = Relation.LONGER, further
    elif inexact or tally.alone:
        relation, channels, alone = Relation.REDUCED, tally.alone, set()
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
        _from_one(tally.theirs_alone),
        tuple(_joined(tally.missing)) if missing > slack else (),
    )


def _joined(missing: Mapping[int, list[tuple[int, int]]]) -> Iterator[Stretch]:
    """The stretches of each channel, neighbours in one."""
    for channel, stretches in sorted(missing.items()):
        begins = {begin for begin, _ in stretches}
        ends = {end for _, end in stretches}
        for begin, end in zip(sorted(begins - ends), sorted(ends - begins), strict=True):
            yield channel + 1, begin, end


def _from_one(channels: set[int]) -> tuple[int, ...]:
    return tuple(n + 1 for n in sorted(channels))


def _frames(stretches: Iterable[tuple[int, int]]) -> int:
    return sum(end - begin for begin, end in stretches)
