"""Compares the samples of two recordings, or sets of them, from proven copies.

The blocks that the catalogue knows say where nothing needs to be read, and which channel is which.
Where they do not, a few windows with real sound do: laid upon each other by timecode, else by
cross-correlation. Then both sides stream by, block for block; no file is ever held whole.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from itertools import pairwise

import numpy as np
import xxhash

from takehold.decide.likeness import EXACT, LOSSY, Alike, Held, alike, by_depth
from takehold.decide.pairing import (
    Pairs,
    Tally,
    answering,
    doubled,
    other_tracks,
    pairs,
    strangers,
    verdict,
)
from takehold.decide.phase import lag
from takehold.decide.side import offsets, stretches
from takehold.engine.samples import OpenSide, open_side
from takehold.formats.pcm import Array
from takehold.model.comparison import Comparison
from takehold.model.facts import ChannelBlocks
from takehold.model.finding import Relation
from takehold.model.sound import Coding
from takehold.model.step import Compare
from takehold.ports.decoder import Decoder
from takehold.ports.disk import DestinationTree

# Frames of a window, and how far beyond it the same sound is looked for at either side.
WINDOW = 1 << 17
# Glances at the whole recording, to find where the windows shall be.
GLANCES, GLANCE = 32, 2_048
# Frames of a beginning that show whether two begin as one: 819 lines (decide/phase), whose
# agreement spreads by 0.035 if they do not. AUDIBLE is a step of 16 bits.
BEGINNING, AUDIBLE = 8_192, 2.0**-15
MOST_WINDOWS, MOST_SEARCHES, MOST_CHANNELS = 5, 2, 3

Likes = dict[tuple[int, int], Alike]
Moved = Callable[[int], None]


def compare(
    step: Compare,
    tree: DestinationTree,
    decoder: Decoder,
    known: Mapping[int, ChannelBlocks],
    moved: Moved,
) -> Comparison:
    """What the samples say; `at` is left 0. `moved` is told of bytes done and may raise.

    Recordings of other sample rates are different, without a figure: nothing is resampled.
    Raises what the disk and the decoder raise; SourceChanged if a copy is not as it was proven.
    """
    with ExitStack() as stack:
        ours = open_side(step.ours, tree, decoder, known, stack)
        theirs = open_side(step.theirs, tree, decoder, known, stack)
        rates = {file.samples.sample_rate for side in (ours, theirs) for file in side.files}
        if len(rates) > 1:
            return Comparison(ours.numbers, theirs.numbers, Relation.DIFFERENT, 0)
        total = sum(recording.stamp.size for recording, _ in (*step.ours, *step.theirs))
        return _Comparing(ours, theirs, moved, total).run()


class _Comparing:
    """Two open sides. A frame of ours is `offset` frames later in theirs."""

    def __init__(self, ours: OpenSide, theirs: OpenSide, moved: Moved, total: int) -> None:
        self._ours, self._theirs = ours, theirs
        self._moved, self._total = moved, total
        self._rate = ours.sample_rate
        self._lossy = ours.lossy or theirs.lossy
        begins = ours.files[0].begin, theirs.files[0].begin
        meet = [o for o in offsets(*begins, ours.day) if -o < ours.end and o < theirs.end]
        self._offsets = tuple(meet) or (0,)
        self._offset = self._offsets[0]

    def run(self) -> Comparison:
        """Find out which channel is which, then compare them all."""
        likes = self._by_blocks()
        if not likes or self._is_open(likes):
            likes = self._by_ear(likes)
        otherwise = LOSSY if self._lossy else by_depth(self._ours.bits, self._theirs.bits)
        widths = len(self._ours.lines), len(self._theirs.lines)
        apart = other_tracks(self._ours.tracks(), self._theirs.tracks())
        found = pairs(likes, *widths, otherwise, apart)
        used = {other for other, _ in found.values()}
        # A lossy mix is like much of what is in it: what it is like no more is not known.
        rest = [] if self._lossy else [n for n in strangers(likes, widths[1]) if n not in used]
        tally = self._stream(found, rest)
        one_layout = self._one_layout(found)
        numbers = self._ours.numbers, self._theirs.numbers
        return verdict(tally, *numbers, self._offset, 0, one_layout=one_layout)

    # -- which channel is which

    def _by_blocks(self) -> Likes:
        """Channels that have blocks in common; none that come twice, as those of an idle input."""
        for offset in self._offsets:
            self._offset = offset
            common: dict[tuple[int, int], Counter[bytes]] = defaultdict(Counter)
            for begin, end in self._pieces():
                for pair, digest in self._common(begin, end):
                    common[pair][digest] += 1
            votes = {p: sum(times == 1 for times in c.values()) for p, c in common.items()}
            if any(votes.values()):
                return {pair: Alike(EXACT, (4, n)) for pair, n in votes.items() if n}
        self._offset = self._offsets[0]
        return {}

    def _common(self, begin: int, end: int) -> Iterator[tuple[tuple[int, int], bytes]]:
        silent = Coding.INTEGER, xxhash.xxh3_64_digest(bytes(4 * (end - begin)))
        mine = [self._ours.digest(n, begin, end) for n in range(len(self._ours.lines))]
        if not any(mine):
            return
        begin, end = begin + self._offset, end + self._offset
        for number in range(len(self._theirs.lines)):
            digest = self._theirs.digest(number, begin, end)
            if digest is not None and digest != silent:
                same = (n for n, known in enumerate(mine) if known == digest)
                yield from (((n, number), digest[1]) for n in same)

    def _is_open(self, likes: Likes) -> bool:
        """Whether both sides have sounding channels of which the blocks told nothing."""
        mine = any(self._ours.sounds(n) is not False for n in self._open(likes))
        return mine and self._theirs_open(likes)

    def _open(self, likes: Likes) -> list[int]:
        """The channels of ours that nothing was found for yet.

        Of two that are the same and have one counterpart, either may have another, gone wrong.
        """
        known = {mine for mine, _ in likes}
        if self._theirs_open(likes):
            known -= doubled(likes)
        return [n for n in range(len(self._ours.lines)) if n not in known]

    def _theirs_open(self, likes: Likes) -> bool:
        """Whether a channel of theirs that may sound answers none of ours yet."""
        used = answering(likes)
        return any(
            self._theirs.sounds(n) is not False
            for n in range(len(self._theirs.lines))
            if n not in used
        )

    def _by_ear(self, likes: Likes) -> Likes:
        """Channels that are alike in the loudest windows, beside those that are known to be.

        Where both lie shows with the first.
        """
        searches = 0
        for begin, end, sounding in self._windows(likes):
            ours = self._ours.piece(begin, end)
            places = (self._offset,) if likes else self._offsets
            found = next((f for o in places if (f := self._alike(ours, begin, end, o))), {})
            if not found and not likes and searches < MOST_SEARCHES:
                searches += 1
                offset = self._search(ours, begin, end, sounding)
                found = self._alike(ours, begin, end, offset)
            likes.update({pair: one for pair, one in found.items() if pair not in likes})
        if self._offset not in self._offsets:
            begins = next((o for o in self._offsets if self._begins_there(o)), self._offset)
            self._offset = begins
        return likes

    def _begins_there(self, offset: int) -> bool:
        """Whether both begin as one sound where they are told to lie, and not where it was found.

        Then frames are missing further on, or there are more of them: what was found is the rest. A
        tone, which is the same at both places, shows nothing.
        """
        begin = self._first_sound(max(0, -offset))
        if begin is None:
            return False
        end, further = begin + BEGINNING, offset - self._offset
        theirs = self._theirs.piece(begin + offset, end + offset)
        here = self._likes(self._ours.piece(begin, end), theirs)
        before = min(max(0, -(begin + further)), BEGINNING)  # ours begins only after so many
        there = self._ours.piece(begin + before + further, end + further)
        return not here.keys() <= self._likes(there, theirs[:, before:]).keys()

    def _first_sound(self, first: int) -> int | None:
        """Where ours is first louder than the last of 16 bits, from a frame on."""
        for begin, end in self._pieces():
            levels: Array = np.abs(self._ours.piece(begin, end)).max(axis=0)
            levels[: max(first - begin, 0)] = 0
            if (levels > AUDIBLE).any():
                return begin + int((levels > AUDIBLE).argmax())
        return None

    def _windows(self, likes: Likes) -> Iterator[tuple[int, int, list[int]]]:
        """The loudest windows for the channels that nothing was found for yet, and their order."""
        first = max(0, -self._offset)
        last = min(self._ours.end, self._theirs.end - self._offset)
        if last <= first:
            first, last = 0, self._ours.end
        step = max((last - first - GLANCE) // GLANCES, GLANCE)
        glances = range(first, max(last - GLANCE, first) + 1, step)
        levels = np.array([self._level(begin, min(begin + GLANCE, last)) for begin in glances])
        levels /= np.maximum(levels.max(axis=0), 1e-30)
        for _ in range(MOST_WINDOWS):
            open_ones = self._open(likes)
            if not open_ones or not levels[:, open_ones].any():
                return
            best = int(levels[:, open_ones].sum(axis=1).argmax())
            begin = max(first, min(glances[best] + GLANCE // 2 - WINDOW // 2, last - WINDOW))
            yield begin, min(begin + WINDOW, last), list(np.argsort(-levels[best]))
            levels[best] = 0
            self._moved(0)

    def _level(self, begin: int, end: int) -> Array:
        piece = np.nan_to_num(self._ours.piece(begin, end), posinf=0, neginf=0)
        powers: Array = np.square(piece).sum(axis=1)
        return powers

    def _alike(self, ours: Array, begin: int, end: int, offset: int) -> Likes:
        """The channels that are one sound, if the two sides lie so; then that is how they lie."""
        found = self._likes(ours, self._theirs.piece(begin + offset, end + offset))
        if found:
            self._offset = offset
        return found

    def _likes(self, ours: Array, theirs: Array) -> Likes:
        """Which rows of two windows are one sound."""
        found: Likes = {}
        for mine, row in enumerate(ours):
            for other, their_row in enumerate(theirs):
                one = alike(row, their_row, self._rate, lossy=self._lossy)
                if one is not None:
                    found[mine, other] = one
        return found

    def _search(self, ours: Array, begin: int, end: int, sounding: list[int]) -> int:
        """Where theirs lie by cross-correlation of a few channels, the clearest answer counts."""
        first = begin + self._offset - WINDOW
        some = range(min(len(self._theirs.lines), MOST_CHANNELS))
        theirs = np.nan_to_num(self._theirs.piece(first, end + self._offset + WINDOW, some))
        rows = np.nan_to_num(ours[sounding[:MOST_CHANNELS]])
        answers = [lag(row, other, self._rate) for row in rows for other in theirs]
        place, _ = max(answers, key=lambda answer: answer[1])
        return first + place - begin

    # -- all of it

    def _edges(self) -> set[int]:
        return self._ours.edges() | {edge - self._offset for edge in self._theirs.edges()}

    def _pieces(self) -> Iterator[tuple[int, int]]:
        """Pieces of a second at most; hours in which neither side holds anything cost nothing."""
        for begin, end in pairwise(sorted(self._edges())):
            there = begin + self._offset, end + self._offset
            if self._ours.holds_any(begin, end) or self._theirs.holds_any(*there):
                yield from stretches({begin, end})

    def _stream(self, found: Pairs, strange: list[int]) -> Tally:
        """Hold them against each other; the `strange` channels of theirs have no counterpart."""
        tally = Tally({mine: Held(manner, self._rate) for mine, (_, manner) in found.items()})
        rest = [n for n in range(len(self._ours.lines)) if n not in found]
        lonely = [(self._ours, n, 0, tally.alone) for n in rest]
        lonely += [(self._theirs, n, self._offset, tally.theirs_alone) for n in strange]
        for side, channel, _, alone in lonely:
            if side.sounds(channel):
                alone.add(channel)
        unknown = [one for one in lonely if one[0].sounds(one[1]) is None]
        edges = self._edges()
        share = self._total / max(max(edges) - min(edges), 1) if edges else 0
        for begin, end in self._pieces():
            self._take(tally, found, begin, end)
            for side, channel, later, alone in unknown:
                there = channel, begin + later, end + later
                if channel not in alone and side.holds(*there) and side.row(*there).any():
                    alone.add(channel)
            self._moved(int(share * (end - begin)))
        for held in tally.held.values():
            held.end()
        return tally

    def _take(self, tally: Tally, found: Pairs, begin: int, end: int) -> None:
        further = False
        for mine, (other, manner) in found.items():
            here, there = (mine, begin, end), (other, begin + self._offset, end + self._offset)
            ours, theirs = self._ours.holds(*here), self._theirs.holds(*there)
            if ours and not theirs:
                tally.missing.setdefault(mine, []).append((begin, end))
            further |= theirs and not ours
            held = tally.held[mine]
            if not (ours and theirs) or held.settled:
                continue
            known = self._ours.digest(*here)
            if manner == EXACT and known is not None and known == self._theirs.digest(*there):
                continue
            held.take(begin, self._ours.row(*here), self._theirs.row(*there))
        if further:
            tally.further.append((begin, end))

    def _one_layout(self, found: Pairs) -> bool:
        """Whether both sides have the same channels, in files that end in the same places."""
        one_to_one = all(mine == other for mine, (other, _) in found.items())
        return one_to_one and self._ours.lines == self._theirs.lines
