"""What is said of the audio itself: each planted fault once, and nothing of sound audio."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planworld import SECOND, cards, ledger, reading, settings, taken, view
from takehold.decide.check_sound import DEAD, TAIL, sound_findings
from takehold.decide.coverage import Cover, Coverage, Extent, Pack
from takehold.formats.audio import AudioMeter
from takehold.formats.config_severity import FREE
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.sound import Sound, Span, WaveFormat
from takeworld import HZ, MORNING, found_on, monos, names, wav

LOOK, NOTE = Severity.LOOK, Severity.NOTE
MINE = {"track-silent", "track-dead", "track-late", "zero-tail", "clipped", "not-numbers"}
MINE |= {"above-full-scale", "sound-unmeasured"}
LONG = 10 * HZ


def noise(channels: int = 2, frames: int = LONG) -> np.ndarray:
    """A quiet room: Gaussian noise at about -50 dBFS, never exactly zero. Shape (frames, n)."""
    dice = np.random.default_rng(5)
    samples = dice.normal(0, 0.003, (frames, channels))
    return np.where(np.abs(samples) < 1e-6, 1e-6, samples)


def sound(samples: np.ndarray) -> Sound:
    """What is measured of these samples as 24-bit PCM."""
    channels = samples.shape[1]
    raw = (samples * 0x7FFFFF).astype("<i4").view("u1").reshape(-1, channels, 4)[:, :, :3].tobytes()
    return metered(raw, WaveFormat(1, channels, HZ, 24, 3 * channels))


def metered(raw: bytes, form: WaveFormat) -> Sound:
    meter = AudioMeter(Span(0, len(raw)), form, MORNING)
    meter.feed(raw, 0)
    return meter.sound()


def heard(one: Recording, measured: Sound) -> Recording:
    """The recording as it was read and measured."""
    read = reading(one.path)._replace(sound=measured)
    return replace(one, readings=(read, read._replace(sound=None, at=read.at + SECOND)))


def poly(samples: np.ndarray, *words: str, name: bytes = b"T01.WAV", start: int = MORNING, nth=1):
    """One poly file with these samples."""
    one = wav(nth, name, "1", "1", start, len(samples), channels=samples.shape[1],
              tracks=names(*words))  # fmt: skip
    return heard(one, sound(samples))


def told(*recordings: Recording) -> list[Finding]:
    return [f for f in found_on(list(recordings)) if f.code in MINE]


def only(*recordings: Recording) -> Finding:
    (found,) = told(*recordings)
    return found


def test_sound_audio_is_not_talked_about():
    assert told(poly(noise(), "Boom", "Lav")) == []


def test_a_track_without_any_sound_is_named():
    samples = noise(3)
    samples[:, 1] = 0
    found = only(poly(samples, "Boom", "Lav", "Plant"))
    assert (found.code, found.severity) == ("track-silent", LOOK)
    assert "no sound at all on Lav: exactly zero for the whole take" in found.says


def test_a_file_without_any_sound_is_told_once():
    found = only(poly(np.zeros((LONG, 2)), "Boom", "Lav"))
    assert found.code == "track-silent"
    assert "no track holds any sound" in found.says


def test_a_track_that_dies_is_told_with_the_time():
    samples = noise()
    samples[6 * HZ :, 1] = 0
    found = only(poly(samples, "Boom", "Lav"))
    assert (found.code, found.severity) == ("track-dead", LOOK)
    assert "Lav (4.0 s at its end, from 09:00:06:00 on)" in found.says


def test_a_track_that_ends_in_each_take_is_told_once_with_each_time():
    """As one of playback whose song is over: one decision a card, not one a take."""
    takes = []
    for nth in range(1, 23):
        samples = noise()
        samples[(5 + nth % 2) * HZ :, 1] = 0
        name = b"T%02d.WAV" % nth
        takes.append(
            poly(samples, "Boom", "Song", name=name, start=MORNING + nth * 60 * HZ, nth=nth)
        )
    found = only(*takes)
    assert (found.code, found.severity) == ("track-dead", LOOK)
    assert found.says.startswith(
        "SND_A1: 22 takes: goes dead within the take: Song: T01.WAV (4.0 s at its end, from "
        "09:01:06:00 on), T02.WAV (5.0 s at its end, from 09:02:05:00 on), "
    )
    assert found.says.endswith(" and 2 more.")


def test_takes_in_which_other_tracks_die_are_told_apart():
    first, second = noise(), noise()
    first[6 * HZ :, 1] = 0
    second[6 * HZ :, 0] = 0
    later = poly(second, "Boom", "Lav", name=b"T02.WAV", start=MORNING + 60 * HZ, nth=2)
    found = told(poly(first, "Boom", "Lav"), later)
    assert [x.code for x in found] == ["track-dead"] * 2


def test_tracks_that_begin_late_in_each_take_are_one_note():
    takes = []
    for nth in range(1, 4):
        samples = noise()
        samples[: 2 * HZ, 1] = 0
        name = b"T%02d.WAV" % nth
        takes.append(
            poly(samples, "Boom", "Song", name=name, start=MORNING + nth * 60 * HZ, nth=nth)
        )
    assert only(*takes).says == (
        "SND_A1: 3 takes: exactly zero before the first sound: Song: T01.WAV (2.0 s), "
        "T02.WAV (2.0 s), T03.WAV (2.0 s)."
    )


@pytest.mark.parametrize(("seconds", "codes"), [(DEAD, ["track-dead"]), (DEAD - 0.01, [])])
def test_a_dropout_counts_from_a_second_on(seconds: float, codes: list[str]):
    samples = noise()
    samples[3 * HZ : 3 * HZ + round(seconds * HZ), 0] = 0
    assert [f.code for f in told(poly(samples, "Boom", "Lav"))] == codes


@pytest.mark.parametrize(
    ("seconds", "codes"), [(TAIL, ["zero-tail"]), (TAIL - 0.01, []), (3, ["zero-tail"])]
)
def test_zeros_on_all_tracks_at_the_end_are_told_of_the_file_and_of_no_track(seconds, codes):
    samples = noise()
    samples[len(samples) - round(seconds * HZ) :] = 0
    found = told(poly(samples, "Boom", "Lav"))
    assert [f.code for f in found] == codes
    if seconds == 3:
        assert (
            "its last 3.0 s are exactly zero on every track, from 09:00:07:00 on" in found[0].says
        )


def split(samples: np.ndarray, *ends: int) -> list[Recording]:
    """A take of two tracks in parts, each of which ends at such a frame."""
    pieces = [(low, samples[low:high]) for low, high in zip((0, *ends), ends, strict=False)]
    return [
        poly(piece, "Boom", "Lav", name=b"T01_%d.WAV" % nth, start=MORNING + low, nth=nth)
        for nth, (low, piece) in enumerate(pieces, 1)
    ]


def test_zeros_over_the_seam_of_a_split_take_are_one_time():
    samples = noise()
    samples[4 * HZ + HZ // 2 : 5 * HZ + HZ * 3 // 4, 1] = 0
    found = only(*split(samples, 5 * HZ, LONG))
    assert (found.code, "goes dead within the take: Lav (1.2 s)" in found.says) == (
        "track-dead",
        True,
    )


def test_a_track_that_dies_in_an_earlier_part_is_told_from_there_on():
    samples = noise()
    samples[3 * HZ :, 1] = 0
    found = only(*split(samples, 2 * HZ, 5 * HZ, LONG))
    assert "Lav (7.0 s at its end, from 09:00:03:00 on)" in found.says


def test_a_last_part_of_zeros_is_the_takes_tail():
    samples = noise()
    samples[8 * HZ :] = 0
    found = only(*split(samples, 5 * HZ, 8 * HZ, LONG))
    assert found.code == "zero-tail"
    assert found.says.startswith(
        "SND_A1/T01_3.WAV: its take's last 2.0 s are exactly zero on every track, from 09:00:08:00"
    )


@pytest.mark.parametrize(("dead", "codes"), [((1,), ["track-dead"]), ((0, 1), ["zero-tail"])])
def test_the_files_of_a_set_end_together_or_one_track_dies(dead: tuple[int, ...], codes: list[str]):
    """A card that lost power cuts all files of its take."""
    files = monos(1, "1", "1", MORNING, "Boom", "Lav")
    samples = noise()
    samples[7 * HZ :, dead] = 0
    voiced = [heard(one, sound(samples[:, n : n + 1])) for n, one in enumerate(files)]
    assert [f.code for f in told(*voiced)] == codes


def test_what_begins_late_did_not_go_dead():
    """As a playback track before its song begins."""
    samples = noise()
    samples[: 2 * HZ, 1] = 0
    found = only(poly(samples, "Boom", "Song"))
    assert (found.code, found.severity) == ("track-late", NOTE)
    assert "exactly zero before the first sound: Song (2.0 s)" in found.says


@pytest.mark.parametrize(
    ("late", "tracks", "severity", "says"),
    [
        (5.1, [0, 1], LOOK, "exactly zero on every track for more than half of its time"),
        (4.9, [0, 1], NOTE, "exactly zero before the first sound: Boom (4.9 s), Song (4.9 s)"),
        (9.5, [1], NOTE, "exactly zero before the first sound: Song (9.5 s)"),
    ],
)
def test_a_take_without_sound_for_more_than_half_of_its_time_is_looked_at(
    late: float, tracks: list[int], severity: Severity, says: str
):
    """One track may wait for its song as long as it likes."""
    samples = noise()
    samples[: int(late * HZ), tracks] = 0
    found = only(poly(samples, "Boom", "Song"))
    assert (found.code, found.severity) == ("track-late", severity)
    assert says in found.says


def quiet(nth: int) -> Recording:
    """Take nth of scene 1, whose second track has nothing plugged in."""
    samples = noise()
    samples[:, 1] = 0
    one = wav(nth, b"T%02d.WAV" % nth, "1", str(nth), MORNING + nth * 60 * HZ, LONG, channels=2,
              tracks=names("Boom", "Spare"))  # fmt: skip
    return heard(one, sound(samples))


def test_a_track_that_is_silent_in_many_takes_is_one_decision_and_one_take_more_another():
    found = only(*map(quiet, range(1, 8)))
    assert (found.code, found.severity) == ("track-silent", LOOK)
    assert found.says == (
        "SND_A1: 7 takes: no sound at all on Spare: exactly zero for the whole take: "
        "T01.WAV, T02.WAV, T03.WAV, T04.WAV, T05.WAV and 2 more."
    )
    assert only(*map(quiet, range(1, 9))).id != found.id


def test_clipping_is_a_note_with_counts():
    samples = noise()
    samples[100:104, 1] = 1.0
    found = only(poly(samples, "Boom", "Lav"))
    assert (found.code, found.severity) == ("clipped", NOTE)
    assert "samples at full scale: Lav (4)" in found.says


def test_floats_that_are_no_numbers_are_told():
    samples = noise().astype("<f4")
    samples[5, 0] = np.nan
    one = wav(1, b"T01.WAV", "1", "1", MORNING, LONG, channels=2, tracks=names("Boom", "Lav"))
    found = only(heard(one, metered(samples.tobytes(), WaveFormat(3, 2, HZ, 32, 8))))
    assert (found.code, "on Boom" in found.says) == ("not-numbers", True)


def test_a_mono_set_is_one_take_and_its_silent_file_is_named():
    files = monos(1, "1", "1", MORNING, "Boom", "Lav", "Plant")
    voiced = [heard(one, sound(noise(1))) for one in files]
    voiced[2] = heard(files[2], sound(np.zeros((LONG, 1))))
    found = only(*voiced)
    assert found.says.startswith("SND_A1/1-T1_3.wav: no sound at all on Plant: ")
    assert found.recording == files[2].id


def test_the_files_that_die_in_each_set_are_named():
    """One decision, and no file that a person would open in vain."""
    sets = [monos(10 * nth, "1", str(nth), MORNING + nth * LONG, "Boom", "Lav") for nth in (1, 2)]
    ends = np.where(np.arange(LONG)[:, None] < 5 * HZ, noise(1), 0)
    voiced = [
        heard(one, sound(ends if n else noise(1))) for its in sets for n, one in enumerate(its)
    ]
    assert only(*voiced).says == (
        "SND_A1: 2 takes: goes dead within the take: Lav: 1-T1_2.wav (5.0 s at its end, from "
        "09:00:15:00 on), 1-T2_2.wav (5.0 s at its end, from 09:00:25:00 on)."
    )


def test_a_track_is_silent_only_if_it_is_so_in_every_part():
    """The second part of a split take holds the sound: no track is silent, one begins late."""
    full = (1 << 32) - 9000
    first, second = noise(), noise()
    first[:, 1] = 0
    parts = [
        replace(one, stamp=one.stamp._replace(size=full)) if nth == 1 else one
        for nth, one in enumerate(
            [
                poly(first, "Boom", "Lav"),
                poly(second, "Boom", "Lav", name=b"T01_2.WAV", start=MORNING + LONG, nth=2),
            ],
            1,
        )
    ]
    found = only(*parts)
    assert (found.code, found.severity) == ("track-late", NOTE)
    assert "exactly zero before the first sound: Lav (10.0 s)" in found.says


def test_the_severity_of_each_may_be_changed():
    assert MINE <= FREE


def test_the_pack_that_has_a_dead_track_is_named():
    """The transmitter's own card ran on: the recorder's track can be replaced."""
    samples = noise()
    samples[:, 1] = 0
    one = poly(samples, "Boom", "Lav")
    cover = Cover(Pack("Lav", "PACK_1", 3, ()), Extent.WHOLE, due=True, spans=((0, LONG),))
    known = view(ledger(cards(), taken(one)))
    (found,) = sound_findings(known, settings(), Coverage(covers={one.id: (cover,)}))
    assert found.do.startswith("PACK_1 (Lav) has all of it, by timecode. ")


def in_float(peak: float, frames: int = 8) -> Recording:
    """A 32-bit float file in which the boom stands at that value for some frames."""
    samples = noise().astype("<f4")
    samples[100 : 100 + frames, 0] = peak
    one = wav(1, b"T01.WAV", "1", "1", MORNING, LONG, channels=2, tracks=names("Boom", "Lav"))
    return heard(one, metered(samples.tobytes(), WaveFormat(3, 2, HZ, 32, 8)))


def test_float_above_full_scale_is_not_called_clipped():
    """IEEE 754 binary32 goes on beyond 1.0: 2.0 is 20 log10(2) = 6.02 dB above it."""
    found = only(in_float(2.0))
    assert (found.code, found.severity) == ("above-full-scale", NOTE)
    assert "nothing is lost of it in float: Boom (up to 6.0 dB)" in found.says
    assert only(in_float(2.0, frames=1)).code == "above-full-scale"
    assert told(in_float(1.0, frames=2)) == []


def test_float_that_stays_at_full_scale_is_clipped():
    found = only(in_float(-1.0))
    assert (found.code, "Boom (8)" in found.says) == ("clipped", True)


ODD = [
    (WaveFormat(6, 1, HZ, 8, 1), "A-law"),
    (WaveFormat(7, 2, HZ, 8, 2), "mu-law"),
    (WaveFormat(0x11, 1, HZ, 4, 1024), "ADPCM, tag 0x0011"),
    (WaveFormat(0x200, 1, HZ, 4, 1024), "tag 0x0200"),
    (WaveFormat(1, 65, HZ, 24, 195), "65 channels, of which takehold takes 64 at most"),
    (WaveFormat(1, 1, HZ, 64, 8), "64 bits in 8 bytes a frame"),
]


@pytest.mark.parametrize(("form", "why"), ODD, ids=[why for _, why in ODD])
def test_of_what_cannot_be_measured_that_is_said(form: WaveFormat, why: str):
    """Tags: RFC 2361."""
    one = wav(1, b"T01.WAV", "1", "1", MORNING, LONG, channels=form.channels)
    one = replace(one, description=replace(one.description, format=form))
    found = only(heard(one, metered(bytes(form.block_align) * 10, form)))
    assert (found.code, found.severity) == ("sound-unmeasured", LOOK)
    length = "its length, " if "tag" in why else ""
    assert f"cannot be measured ({why}): nothing is said of {length}silence and" in found.says
    assert told(heard(one, metered(b"", form))) == []


def muting(samples: np.ndarray, zero: float, every: float = 1.0) -> np.ndarray:
    """Of each so many seconds the last ones are exactly zero on the second track."""
    every, zero = round(every * HZ), round(zero * HZ)
    for at in range(every, len(samples), every):
        samples[at - zero : at, 1] = 0
    return samples


@pytest.mark.parametrize(
    ("zero", "every", "codes"),
    [(0.9, 1.0, ["track-dead"]), (0.4, 0.5, ["track-dead"]), (0.5, 1.0, []), (0.09, 0.1, [])],
)
def test_a_track_that_is_zero_for_most_of_a_take_in_pieces_is_told(
    zero: float, every: float, codes: list[str]
):
    """As of a receiver that mutes again and again, no piece as long as a second."""
    found = told(poly(muting(noise(), zero, every), "Boom", "Lav"))
    assert [one.code for one in found] == codes


def test_how_much_is_zero_in_pieces_is_told_in_all_parts_of_a_take():
    found = only(*split(muting(noise(), 0.9), 4 * HZ, LONG))
    assert (found.code, found.severity) == ("track-dead", LOOK)
    assert found.says == (
        "SND_A1/T01_1.WAV: goes dead within the take: Lav "
        "(8.1 s in all, in pieces of 0.9 s at most)."
    )


@pytest.mark.parametrize("sigma", [0.15, 0.17, 0.2, 0.3, 0.5, 1.0])
def test_a_quiet_16_bit_track_is_often_zero_and_not_dead(sigma: float):
    """An unused input: noise about the last bit, rounded. What it is below that is silence."""
    dice = np.random.default_rng(7)
    whole = np.rint(dice.normal(0, (30.0, sigma), (LONG, 2))).astype("<i2")
    one = wav(1, b"T01.WAV", "1", "1", MORNING, LONG, channels=2, bits=16,
              tracks=names("Boom", "Unused"))  # fmt: skip
    measured = metered(whole.tobytes(), WaveFormat(1, 2, HZ, 16, 4))
    assert told(heard(one, measured)) == []
