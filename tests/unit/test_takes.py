"""Which recordings are one take: sets, parts, names, what was recorded again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import recording
from takehold.decide.take_names import marked, same_number
from takehold.decide.takes import GAP_SECONDS, takes
from takehold.formats.timecode import day_samples
from takehold.model.recording import Recording
from takehold.model.slate import same_words, scene_and_take
from takehold.model.sound import Rate
from takehold.model.take import Take
from takeworld import HZ, MORNING, monos, names, wav

TWO_GB = (1 << 31) - 5000


def files(found: tuple[Take, ...]) -> list[list[tuple[int, ...]]]:
    """The parts of each take."""
    return [[part.files for part in take.parts] for take in found]


def test_a_poly_file_is_a_take():
    (take,) = takes([wav(1, b"a.wav", "12A", "3", MORNING, tape="D7", circled=True, note="plane",
                         channels=2, tracks=names("Boom", "Lav"))])  # fmt: skip
    assert (take.scene, take.take, take.tape, take.circled, take.note) == (
        *("12A", "3", "D7"),
        True,
        "plane",
    )
    assert (take.start, take.frames, take.channels, take.sample_rate) == (MORNING, 10 * HZ, 2, HZ)
    assert [track.name for track in take.tracks] == ["Boom", "Lav"]


def test_what_is_no_audio_is_no_take():
    assert takes([recording(1, b"NOTES.TXT", audio=None)]) == ()


def test_a_file_set_is_one_take_in_the_order_of_its_channels():
    """FAMILY_UID of iXML ties, TRACK_LIST sorts: the indexes 1, 2, …, 10 would not as text."""
    made = monos(1, "12A", "3", MORNING, *(f"Trk {n}" for n in range(1, 13)))
    (take,) = takes(reversed(made))
    assert take.files == tuple(range(1, 13))
    assert (take.channels, take.expected) == (12, 12)


def test_two_takes_with_one_short_family_uid_on_two_rolls_are_two():
    """Some recorders count their UIDs from the start again: they hold for one roll."""
    one, other = (
        wav(1, b"a", "1", "1", MORNING, family_uid="7", tape="R1"),
        wav(2, b"b", "1", "2", MORNING + HZ * 99, family_uid="7", tape="R2"),
    )
    assert len(takes([one, other])) == 2


def test_monos_split_from_a_poly_later_are_a_set_of_their_own():
    """The FAMILY_UID is the same, TOTAL_FILES tells the generations apart."""
    poly = wav(1, b"p.wav", "1", "1", MORNING, channels=2, family_uid="F1-1", total_files=1,
               set_index="A", tracks=names("Boom", "Lav"))  # fmt: skip
    assert files(takes([poly, *monos(2, "1", "1", MORNING, "Boom", "Lav")])) == [[(1,)], [(2, 3)]]


@pytest.mark.parametrize("family", ["F1-1", ""])
@pytest.mark.parametrize("first", [1, 2, 3])
def test_monos_that_say_what_their_poly_file_said_are_a_set(family: str, first: int):
    """Each tells TOTAL_FILES 1 and one FILE_SET_INDEX, as a program copies them that splits it."""
    split = [
        wav(n, b"4T1_%d.wav" % n, "4", "1", MORNING, family_uid=family, total_files=1,
            set_index="A", tracks=names(word, first=n if first == 1 else first))
        for n, word in enumerate(("Mix", "Boom", "Lav"), 1)
    ]  # fmt: skip
    assert [sorted(one[0]) for one in files(takes(split))] == [[1, 2, 3]]
    again = [replace(r, id=r.id + 10, path=b"old/" + r.path) for r in split]
    assert len(takes([*split, *again])) == 2
    poly = wav(9, b"4T1.wav", "4", "1", MORNING, channels=3, family_uid="F1-1", total_files=1,
               set_index="A", tracks=names("Mix", "Boom", "Lav"))  # fmt: skip
    assert len(takes([*split, poly])) == 2 or not family


def test_a_set_that_lies_twice_on_a_card_is_two_takes():
    made = monos(1, "1", "1", MORNING, "Boom", "Lav")
    again = [replace(r, id=r.id + 10, path=b"old/" + r.path) for r in made]
    found = takes([*made, *again])
    assert files(found) == [[(1, 2)], [(11, 12)]]
    assert [take.expected for take in found] == [2, None]


def test_without_a_family_equal_start_and_length_tie_the_monos_of_one_recorder():
    thin = [wav(n, b"%d.wav" % n, start=MORNING, tracks=names("x", first=n)) for n in (1, 2, 3)]
    other = wav(4, b"4.wav", start=MORNING, originator="another recorder")
    assert files(takes([*thin, other])) == [[(1, 2, 3)], [(4,)]]


def test_thin_monos_are_tied_within_their_folder():
    """Nothing but time and place ties them: a copy in another folder is no part of the set."""
    thin = [wav(n, f"{'ab'[n % 2]}/{n}.wav".encode(), start=MORNING) for n in (1, 2, 3, 4)]
    assert files(takes(thin)) == [[(1, 3)], [(2, 4)]]


def test_a_beginning_at_0_ties_nothing_by_itself():
    """Many recorders have no timecode: two of their recordings may be of one length."""
    thin = [wav(n, name, start=0) for n, name in enumerate(COUNTED, 1)]
    assert files(takes(thin)) == [[(n,)] for n in range(1, len(COUNTED) + 1)]


COUNTED = (b"REC_001.WAV", b"REC_002.WAV", b"240101_003.WAV", b"NOTE1.WAV", b"NOTE2.WAV", b"a.WAV")


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ((b"REC001_1.WAV", b"REC001_2.WAV"), {}),
        ((b"REC001_Tr1.WAV", b"REC001_Tr12.WAV"), {}),
        ((b"REC001-Boom.WAV", b"REC001-Keeper.WAV"), {}),
        ((b"12A_T03_1.WAV", b"12A_T03_2.WAV"), {}),
        ((b"a.WAV", b"b.WAV"), {"scene": "12A", "take": "3"}),
        ((b"a.WAV", b"b.WAV"), {"total_files": 2}),
    ],
)
def test_at_0_names_a_take_or_a_file_set_tie_monos(names: tuple[bytes, ...], said: dict[str, str]):
    thin = [wav(n, name, start=0, **said) for n, name in enumerate(names, 1)]
    other = wav(3, b"REC002_1.WAV", start=0)
    assert files(takes([*thin, other])) == [[(1, 2)], [(3,)]]


def test_another_length_is_another_take():
    assert len(takes([wav(1, b"a", start=MORNING), wav(2, b"b", start=MORNING, frames=HZ)])) == 2


def test_files_without_timecode_are_takes_of_their_own():
    assert len(takes([wav(1, b"a", "1", "1"), wav(2, b"b", "1", "1")])) == 2


def parts(*starts: int, frames: int = 10 * HZ, **said: object) -> list[Recording]:
    return [
        wav(n, b"part%d.wav" % n, "1", "1", start, frames, **said)
        for n, start in enumerate(starts, 1)
    ]


def test_gapless_parts_are_one_take():
    """TimeReference[k+1] = TimeReference[k] + frames[k]."""
    (take,) = takes(parts(MORNING, MORNING + 10 * HZ, MORNING + 20 * HZ))
    assert files((take,)) == [[(1,), (2,), (3,)]]
    assert take.frames == 30 * HZ


@pytest.mark.parametrize("off", [-1, 1])
def test_one_sample_beside_it_is_another_take_unless_the_file_was_full(off: int):
    made = parts(MORNING, MORNING + 10 * HZ + off)
    assert len(takes(made)) == 2
    full = replace(made[0], stamp=made[0].stamp._replace(size=TWO_GB))
    assert len(takes([full, made[1]])) == 1


def test_a_full_file_is_joined_to_the_next_part_but_one():
    made = parts(MORNING, MORNING + 20 * HZ, size=TWO_GB)
    assert len(takes(made)) == 1
    assert len(takes([made[0], wav(2, b"x", "1", "2", MORNING + 20 * HZ)])) == 2
    far = wav(2, b"x", "1", "1", MORNING + (31 + GAP_SECONDS) * HZ)
    assert len(takes([made[0], far])) == 2


@pytest.mark.parametrize("rate", [Rate(25, 1), Rate(24_000, 1_001), Rate(30_000, 1_001, drop=True)])
def test_parts_go_on_across_midnight_of_the_timecode_day(rate: Rate):
    """At 23.976 that day is 4,151,347,200 samples at 48 kHz (SMPTE ST 12-1 labels)."""
    late = day_samples(HZ, rate) - 4 * HZ
    (take,) = takes(parts(late, 6 * HZ, timecode_rate=rate))
    assert files((take,)) == [[(1,), (2,)]]
    assert take.start == late


def test_a_split_mono_set_is_one_take_with_two_parts():
    first = monos(1, "1", "1", MORNING, "Boom", "Lav")
    second = monos(3, "1", "1", MORNING + 10 * HZ, "Boom", "Lav")
    assert files(takes([*second, *first])) == [[(1, 2), (3, 4)]]


def test_a_continuous_recording_without_scenes_is_one_take():
    made = [wav(n, b"%d.wav" % n, start=MORNING + n * 10 * HZ) for n in (1, 2, 3)]
    assert files(takes(made)) == [[(1,), (2,), (3,)]]


def test_the_next_take_may_begin_where_the_last_one_ended():
    """Scene and take tell that it is no part of it."""
    made = [wav(n, b"%d.wav" % n, "1", f"{n}", MORNING + n * 10 * HZ) for n in (1, 2)]
    assert len(takes(made)) == 2


def test_takes_come_in_the_order_of_the_shooting_day():
    """What is recorded after midnight comes last, in a day that begins at six."""
    night, day, none = wav(1, b"a", "1", "2", HZ), wav(2, b"b", "1", "1", MORNING), wav(3, b"c")
    assert [t.first for t in takes([none, night, day], starts_at=360)] == [2, 1, 3]
    assert [t.first for t in takes([none, night, day])] == [1, 2, 3]


@pytest.mark.parametrize(
    ("path", "scene", "take"),
    [
        (b"12A-T03.wav", "12A", "03"),
        (b"D/12A_T003_2.wav", "12A", "003"),
        (b"S01T02.WAV", "S01", "02"),
        (b"12At3.wav", "12A", "3"),
        (b"T01.WAV", "", ""),
        (b"UNTITLED01.WAV", "", ""),
        (b"12A-003.wav", "", ""),
        (b"BEST12.WAV", "", ""),
        (b"16PT1-T002.MP3", "16PT1", "002"),
        (b"9WT01.WAV", "9", "WT01"),
        (b"10WT02_Mix.WAV", "10", "WT02"),
        (b"10W-T02.WAV", "10W", "02"),
        (b"2026-11-26T09-03-07.WAV", "", ""),
        (b"REC_2026-11-26T09_11.WAV", "", ""),
        (b"20261126T0911.WAV", "", ""),
        (b"2026T09.WAV", "2026", "09"),
        (b"0611-26T09.WAV", "0611-26", "09"),
    ],
)
def test_a_name_tells_scene_and_take_where_the_file_does_not(path: bytes, scene: str, take: str):
    assert scene_and_take(wav(1, path)) == (scene, take)
    assert scene_and_take(wav(1, path, "7", "8")) == ("7", "8")


WORDS = ("rerec*", "re-rec*")


@pytest.mark.parametrize(
    ("name", "note", "marks"),
    [
        (b"12A-T03_RR.wav", "", False),
        (b"12A-T03_rerec2.wav", "", True),
        (b"a.wav", "Rerecorded from the pack", True),
        (b"a.wav", "re-recorded", True),
        (b"preREC.wav", "", False),
        (b"xrerec.wav", "", False),
    ],
)
def test_words_in_name_or_note_mark_what_was_recorded_again(name: bytes, note: str, marks: bool):
    assert marked(WORDS)(wav(1, name, note=note)) is marks
    assert not marked(())(wav(1, name, note=note))


@pytest.mark.parametrize(
    ("scene", "take", "start", "beside"),
    [
        ("1", "02", MORNING + 99 * HZ, 2),
        ("", "", MORNING + 55 * HZ, 2),
        ("9", "9", MORNING + 5 * HZ, 1),
        ("9", "9", MORNING + 500 * HZ, None),
        ("", "", None, None),
    ],
)
def test_it_stands_beside_its_original(scene: str, take: str, start: int | None, beside: int):
    """By scene and take; else by the timecode that was running; else alone."""
    made = [wav(n, b"%d.wav" % n, "1", f"{n}", MORNING + (n - 1) * 50 * HZ) for n in (1, 2)]
    again = wav(3, b"z_rerec.wav", scene, take, start)
    found = takes([again, *made], WORDS)
    assert {t.first: [x.first for x in t.again] for t in found if t.again} == (
        {beside: [3]} if beside else {}
    )
    assert [t.first for t in found if t.rerecorded] == ([] if beside else [3])


def test_scenes_and_takes_compare_as_people_read_them():
    assert same_words("12 a") == same_words("12A")
    assert same_number("003") == same_number("3") != same_number("30")
