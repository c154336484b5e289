"""Which files of a card that came in anew are looked into, and what speaks for another card."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
import xxhash

from planworld import (
    HERE,
    described,
    ledger,
    load,
    reading,
    recording,
    root,
    settings,
    sound,
    taken,
)
from takehold.decide.plan import Wanted, plan
from takehold.decide.recognise import FILES, last_block, same_header, sample
from takehold.model import facts as f
from takehold.model.recording import Recording, Stamp
from takehold.model.situation import Sight, Sighted, Situation
from takehold.model.sound import BLOCK_FRAMES, Metadata, Span
from takehold.model.step import Recognise, TakeStock

ONE = recording(1)


def lying(*files: Recording) -> list[tuple[bytes, Stamp]]:
    return [(r.path, r.stamp) for r in files]


def test_few_files_are_all_looked_into() -> None:
    """Not a new one, not a changed one, not one whose first read was wrong, and no opaque one."""
    two = recording(2, b"T02.WAV")
    changed = recording(3, b"T03.WAV")
    wrong = recording(
        4, b"T04.WAV", readings=(reading(b"A"), reading(b"B", at=2), reading(b"B", at=3))
    )
    opaque = recording(5, b"ROLL.ZAX", audio=None)
    unread = recording(6, b"T06.WAV", read=False)
    book = ledger([f.LoadSeen(load(1))], taken(ONE, two, changed, wrong, opaque, unread))
    files = lying(ONE, two, wrong, opaque, unread)
    files += [(b"T03.WAV", Stamp(99, 9)), (b"NEW.WAV", Stamp(1, 1))]
    assert [r.id for r in sample(book, 1, files)] == [1, 2, 6]


@pytest.mark.parametrize("count", [FILES, FILES + 1, 1000])
def test_of_many_files_some_are_spread_over_the_card(count: int) -> None:
    many = [recording(n, b"T%04d.WAV" % n, read=False) for n in range(1, count + 1)]
    found = [r.id for r in sample(ledger([f.LoadSeen(load(1))], taken(*many)), 1, lying(*many))]
    assert len(set(found)) == FILES
    assert (found[0], found[-1]) == (1, count)
    gaps = [after - before for before, after in pairwise(found)]
    assert max(gaps) - min(gaps) <= 1


def test_a_header_is_another_by_form_payload_or_moment() -> None:
    """An edit of the words in it, or another version of the program, makes no other card."""
    said = described(b"xyz")
    assert same_header(said, replace(said, metadata=replace(said.metadata, note="NG", scene="3")))
    assert not same_header(said, described(b"xyzz"))
    assert not same_header(said, replace(said, metadata=replace(said.metadata, time="11:00:01")))
    assert not same_header(said, replace(said, metadata=Metadata()))


def test_of_a_rebuilt_catalogue_the_start_counts() -> None:
    """A manifest does not tell where in the file the audio lies, nor its blocks."""
    now = described(b"xyz", time_reference=7)
    rebuilt = replace(now, data=None)
    assert same_header(rebuilt, now)
    assert not same_header(rebuilt, described(b"xyz", time_reference=8))
    assert same_header(replace(rebuilt, metadata=Metadata()), now)
    measured = reading(b"xyz")._replace(sound=replace(sound(b"xyz"), blocks=b""))
    assert last_block(replace(recording(1), description=now, readings=(measured,))) is None


@pytest.mark.parametrize(
    ("frames", "first", "count"),
    [(5, 0, 5), (48_000, 0, 48_000), (96_000, 48_000, 48_000), (100_000, 48_000, 48_000)],
)
def test_the_last_whole_block_of_the_audio_is_compared(frames: int, first: int, count: int) -> None:
    """By its XXH64, as the reference library gives it; the payload lies behind 10 bytes here."""
    assert BLOCK_FRAMES == 48_000
    audio = bytes(n % 251 for n in range(frames))
    made = replace(recording(1, audio=audio), readings=(reading(audio),))
    made = replace(made, description=replace(made.description, data=Span(10, frames)))
    expected = xxhash.xxh3_64_digest(audio[first : first + count])
    assert last_block(made) == (Span(10 + first, count), expected)
    assert made.sound == sound(audio)


def test_without_a_measure_there_is_no_block() -> None:
    assert last_block(recording(1, read=False)) is None
    assert last_block(recording(1, audio=None)) is None


def test_nothing_else_is_done_at_a_card_before_it_is_known() -> None:
    book = ledger([f.LoadSeen(load(1))], taken(ONE))
    home = root("SND_A1")
    new = (b"T02.WAV", Stamp(5, 5))
    files = tuple(Sighted(path, stamp, 0) for path, stamp in [*lying(ONE), new])
    steps = {}
    for anew in (True, False):
        sight = Sight(1, home, True, False, files, anew)
        now = Situation(int(HERE.timestamp()), ONE.day, (sight,), ())
        steps[anew] = plan(book, now, settings(), Wanted())
    assert steps[True] == (Recognise(load(1), home, (ONE,)),)
    assert isinstance(steps[False][0], TakeStock)
