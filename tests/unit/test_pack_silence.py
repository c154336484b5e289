"""Exact zeros on a transmitter's own card: what it does not hold, it cannot stand in for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planworld import cards, ledger, load, reading, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.coverage import Extent, coverage, told
from takehold.formats.audio import AudioMeter
from takehold.formats.levels import packed
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.sound import Coding, Sound, Span, WaveFormat
from takeworld import HOUR, HZ, MORNING, names, wav

PACK = load(3, Role.BODYPACK, source="pack-a")
LONG = 10 * HZ


def channel(first: int | None, last: int | None, gap: int = 0) -> Channel:
    """One with its first and last sound, and the longest time of zeros between."""
    return Channel("00" * 16, b"", 900, 300.0, gap, gap, 0, first, last, 0)


def heard(one: Recording, *channels: Channel) -> Recording:
    """The recording with what was measured of its channels."""
    frames = one.description.frames or 0
    sound = Sound(frames, one.path.hex(), b"", coding=Coding.INTEGER, levels=packed(channels))
    return replace(one, readings=(reading(one.path)._replace(sound=sound),))


def dead_keeper(start: int = MORNING) -> Recording:
    """A take of the recorder whose track Keeper is silent."""
    tracks = names("Boom", "Keeper")
    one = wav(1, b"S1T1.WAV", "1", "1", start, LONG, channels=2, tracks=tracks)
    return heard(one, channel(0, LONG - 1), channel(None, None))


def pack(*channels: Channel, start: int = MORNING - HOUR, frames: int = 2 * HOUR) -> Recording:
    """A file of Keeper's transmitter; a second track is nobody's."""
    tracks = names("Keeper", "Spare")[: len(channels)]
    one = wav(50, b"P1.WAV", start=start, frames=frames, of=3, channels=len(channels),
              tracks=tracks, originator="pack")  # fmt: skip
    return heard(one, *channels)


def found_on(*files: Recording) -> dict[str, Finding]:
    """The day's findings by their code."""
    known = ledger(cards(), [f.LoadSeen(PACK)], taken(*files))
    return {one.code: one for one in check(view(known), known, settings(), Around())}


def extent(*files: Recording) -> tuple[Extent, str]:
    """What the pack has of the take, and that in words."""
    known = ledger(cards(), [f.LoadSeen(PACK)], taken(*files))
    found = coverage(view(known), known, settings())
    cover = next(c for c in found.of(found.takes[0]) if c.pack.name == "Keeper")
    return cover.extent, told(cover, found.takes[0])


def test_a_pack_with_sound_is_offered_by_its_timecode():
    found = found_on(dead_keeper(), pack(channel(0, 2 * HOUR - 1)))
    assert "PACK_1 (Keeper) has all of it, by timecode. " in found["track-silent"].do
    assert "pack-silent" not in found


def test_a_pack_that_is_zero_from_beginning_to_end_has_nothing_and_is_told():
    silent = pack(channel(None, None))
    found = found_on(dead_keeper(), silent)
    assert "has all of it" not in found["track-silent"].do
    note = found["pack-silent"]
    assert note.severity is Severity.NOTE
    assert note.says == "PACK_1: exactly zero: Keeper in P1.WAV from beginning to end."
    assert extent(dead_keeper(), silent) == (Extent.NOT, "PACK_1 (Keeper) has none of it")


@pytest.mark.parametrize(
    ("first", "last", "which"),
    [
        (HOUR + LONG, 2 * HOUR - 1, Extent.NOT),  # its first sound is behind the take
        (0, HOUR - 1, Extent.NOT),  # its last sound is before it
        (HOUR + 4 * HZ, 2 * HOUR - 1, Extent.PARTLY),
        (HOUR, HOUR + LONG - 1, Extent.WHOLE),
    ],
)
def test_zeros_at_its_ends_are_not_offered(first: int, last: int, which: Extent):
    """The pack began an hour before the take."""
    assert extent(dead_keeper(), pack(channel(first, last)))[0] is which


def test_each_track_of_a_pack_counts_for_itself():
    """The spare track is open all the time, and is not Keeper's."""
    both = pack(channel(None, None), channel(0, 2 * HOUR - 1))
    assert extent(dead_keeper(), both)[0] is Extent.NOT
    other = pack(channel(0, 2 * HOUR - 1), channel(None, None))
    assert extent(dead_keeper(), other)[0] is Extent.WHOLE


def test_what_spilt_over_from_the_day_before_is_trimmed_where_it_is_silent():
    """It ran from 05:00 for two hours, its last sound is at 06:30; the day begins at 06:00."""
    late = channel(0, 3 * HOUR // 2 - 1)
    early = replace(pack(late, start=5 * HOUR), day="2031-05-05")
    assert extent(dead_keeper(6 * HOUR + HOUR // 4), early)[0] is Extent.WHOLE
    assert extent(dead_keeper(6 * HOUR + 3 * HOUR // 4), early)[0] is Extent.NOT


def test_a_pack_that_was_not_measured_or_was_cut_is_taken_at_its_timecode():
    """Nothing is known of its silence: what it tells of its length counts."""
    whole = pack(channel(None, None))
    assert extent(dead_keeper(), replace(whole, readings=()))[0] is Extent.WHOLE
    longer = replace(whole.description, frames=3 * HOUR)
    assert extent(dead_keeper(), replace(whole, description=longer))[0] is Extent.WHOLE


def paused(*zeros: tuple[int, int], channels: int = 1) -> Recording:
    """Keeper's transmitter from ten seconds before the take, for half a minute, with pauses."""
    made = pack(*[channel(0, 30 * HZ - 1)] * channels, start=MORNING - LONG, frames=30 * HZ)
    form = WaveFormat(1, channels, HZ, 24, 3 * channels)
    samples = np.full((30 * HZ, form.block_align), 3, "u1")
    for low, high in zeros:
        samples[low:high] = 0
    meter = AudioMeter(Span(0, samples.nbytes), form, MORNING - LONG)
    meter.feed(samples.tobytes(), 0)
    sound = meter.sound()
    described = replace(made.description, format=form)
    return replace(made, description=described, readings=(made.readings[0]._replace(sound=sound),))


def test_a_pause_within_the_file_is_not_offered_where_all_its_tracks_are_zero():
    """To the second: its blocks tell it. The take lies from the 10th to the 20th second."""
    taken_whole = (LONG - HZ, 2 * LONG + HZ)
    assert extent(dead_keeper(), paused(taken_whole))[0] is Extent.NOT
    assert extent(dead_keeper(), paused(taken_whole, channels=2))[0] is Extent.NOT
    assert extent(dead_keeper(), paused((22 * HZ, 29 * HZ)))[0] is Extent.WHOLE
    which, says = extent(dead_keeper(), paused((LONG + HZ // 2, LONG + 5 * HZ // 2)))
    assert which is Extent.PARTLY
    assert says.endswith(
        "from 09:00:00:00 to 09:00:01:00 and from 09:00:02:00 to 09:00:10:00, by timecode"
    )
    assert "has all of it" not in found_on(dead_keeper(), paused(taken_whole))["track-silent"].do


def test_a_moment_without_sound_is_no_pause():
    """Shorter than a second, or a whole block of it that is not."""
    assert extent(dead_keeper(), paused((LONG, LONG + HZ - 1)))[0] is Extent.WHOLE


def test_zeros_within_are_a_note_from_a_second_on():
    """Of one track among others only how long they last is known: it is still offered."""
    for gap, notes in ((HZ, True), (HZ - 1, False)):
        found = found_on(dead_keeper(), pack(channel(0, 2 * HOUR - 1, gap)))
        assert ("pack-silent" in found) is notes
        assert "has all of it, by timecode" in found["track-silent"].do
    found = found_on(dead_keeper(), pack(channel(0, 2 * HOUR - 1, 50 * HZ)))
    assert found["pack-silent"].says == "PACK_1: exactly zero: Keeper in P1.WAV for 50.0 s."
