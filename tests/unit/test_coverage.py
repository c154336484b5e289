"""Which takes a transmitter's own card covers, by timecode."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from planworld import DAY, cards, copied, ledger, load, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.coverage import Coverage, Extent, coverage, told
from takehold.decide.judge import judge
from takehold.decide.pack_names import pack_names
from takehold.formats.timecode import day_samples, label, samples_when, seconds_shown
from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Role
from takehold.model.sound import Kind, Rate
from takehold.model.take import Take
from takeworld import DRIVES, HOUR, HZ, MORNING, names, wav

PACK = load(3, Role.BODYPACK, source="pack-a")
NTSC, DROP, PAL = Rate(24000, 1001), Rate(30000, 1001, drop=True), Rate(25, 1)
MINUTE = 60 * HZ


def known(*recordings: Recording, packs: tuple[Load, ...] = (PACK,)) -> Ledger:
    return ledger(cards(), [f.LoadSeen(p) for p in packs], taken(*recordings))


def covers(*recordings: Recording, packs: tuple[Load, ...] = (PACK,)) -> Coverage:
    have = known(*recordings, packs=packs)
    return coverage(view(have), have, settings())


def only(*recordings: Recording, packs: tuple[Load, ...] = (PACK,)) -> tuple[Extent, Any]:
    """What the one pack has of the one take."""
    found = covers(*recordings, packs=packs)
    (take,) = found.takes
    (cover,) = found.of(take)
    return cover.extent, cover.spans


def rec(start: int, frames: int = 10 * HZ, number: int = 1, **said: Any) -> Recording:
    """A take of the recorder with the tracks Boom and Keeper."""
    tracks = {"channels": 2, "tracks": names("Boom", "Keeper")}
    return wav(number, b"S1T%d.WAV" % number, "1", str(number), start, frames, **tracks | said)


def pack(start: int | None, frames: int, number: int = 50, of: int = 3, **said: Any) -> Recording:
    """A file of the transmitter that Keeper wears."""
    told = {"tracks": names("Keeper"), "originator": "pack"} | said
    return wav(number, b"P%d.WAV" % number, start=start, frames=frames, of=of, **told)


@pytest.mark.parametrize(
    ("start", "frames", "extent", "spans"),
    [
        (MORNING - HOUR, 3 * HOUR, Extent.WHOLE, ((0, 10 * HZ),)),
        (MORNING, 10 * HZ, Extent.WHOLE, ((0, 10 * HZ),)),
        (MORNING - HOUR, HOUR + 4 * HZ, Extent.PARTLY, ((0, 4 * HZ),)),
        (MORNING + 4 * HZ, HOUR, Extent.PARTLY, ((4 * HZ, 10 * HZ),)),
        (MORNING + 2 * HZ, 3 * HZ, Extent.PARTLY, ((2 * HZ, 5 * HZ),)),
        (MORNING - HOUR, HOUR, Extent.NOT, ()),
        (MORNING + 10 * HZ, HOUR, Extent.NOT, ()),
        (MORNING - 30 * HOUR + 24 * HOUR, 24 * HOUR, Extent.WHOLE, ((0, 10 * HZ),)),
    ],
)
def test_a_take_is_covered_wholly_partly_or_not(
    start: int, frames: int, extent: Extent, spans: Any
):
    assert only(rec(MORNING), pack(start, frames)) == (extent, spans)


def test_less_than_a_frame_is_no_hole():
    """Recorders round to frames; a frame of the slowest rate lasts 1/23 s and more."""
    frame = HZ // 25
    assert only(rec(MORNING), pack(MORNING + frame, 10 * HZ - 2 * frame))[0] is Extent.WHOLE
    assert only(rec(MORNING), pack(MORNING + 3 * frame, HOUR))[0] is Extent.PARTLY


def test_a_file_that_was_split_covers_over_the_joint_and_a_hole_is_told():
    early, late = pack(MORNING - HOUR, HOUR + 4 * HZ), pack(MORNING + 4 * HZ, HOUR, 51)
    assert only(rec(MORNING), late, early) == (Extent.WHOLE, ((0, 10 * HZ),))
    late = pack(MORNING + 7 * HZ, HOUR, 51)
    assert only(rec(MORNING), early, late) == (
        Extent.PARTLY,
        ((0, 4 * HZ), (7 * HZ, 10 * HZ)),
    )


def test_midnight_of_the_timecode_lies_within_the_take_or_the_pack():
    """23:59:55 + 10 s; the pack began at 23:00 or begins with the new day at 0."""
    day = day_samples(HZ, PAL)
    take = rec(day - 5 * HZ)
    assert only(take, pack(day - HOUR, 2 * HOUR))[0] is Extent.WHOLE
    assert only(take, pack(0, HOUR)) == (Extent.PARTLY, ((5 * HZ, 10 * HZ),))
    assert only(rec(5 * HZ), pack(day - HOUR, 2 * HOUR))[0] is Extent.WHOLE
    assert only(rec(day // 2), pack(day - HOUR, 2 * HOUR))[0] is Extent.NOT


def test_at_23976_the_timecode_day_is_longer_than_24_hours():
    """86,400 s of labels at 24000/1001 last 86,486.4 s (SMPTE ST 12-1)."""
    day = 864_864 * HZ // 10
    assert day_samples(HZ, NTSC) == day
    take = rec(2 * HZ, timecode_rate=NTSC)
    assert only(take, pack(day - HZ, MINUTE, timecode_rate=NTSC))[0] is Extent.WHOLE
    assert only(take, pack(24 * HOUR - HZ, MINUTE, timecode_rate=NTSC))[0] is Extent.NOT


@pytest.mark.parametrize("hz", [32_000, 44_100, 96_000])
def test_sample_rates_differ(hz: int):
    """The same seconds, counted at another rate: 09:00:04 is 32404 s after midnight."""
    held = pack(32_404 * hz, 3 * hz, hz=hz)
    assert only(rec(MORNING), held) == (Extent.PARTLY, ((4 * HZ, 7 * HZ),))


def test_a_start_that_is_no_whole_sample_of_the_take_is_not_counted_too_early():
    held = pack(32_404 * 44_100 + 1, 44_100, hz=44_100)
    ((first, end),) = only(rec(MORNING), held)[1]
    assert (first, end) == (4 * HZ + 2, 5 * HZ + 1)
    assert Fraction(first, HZ) > 4 + Fraction(1, 44_100)


def test_other_timecode_rates_are_compared_by_their_labels():
    """09:00:00:00 is 32,400 s after midnight at 25, and 32,432.4 s at 23.976."""
    ntsc = rec(32_400 * HZ * 1001 // 1000, timecode_rate=NTSC)
    assert label(ntsc.description.metadata.time_reference or 0, HZ, NTSC) == "09:00:00:00"
    extent, ((first, end),) = only(ntsc, pack(MORNING + 4 * HZ, HOUR, timecode_rate=PAL))
    assert (extent, end) == (Extent.PARTLY, 10 * HZ)
    assert label(32_400 * HZ * 1001 // 1000 + first, HZ, NTSC) == "09:00:04:00"
    # The same second of the day, and its labels are half a minute away.
    assert only(ntsc, pack(MORNING - HZ * 20, 50 * HZ, timecode_rate=PAL))[0] is Extent.WHOLE
    assert only(ntsc, pack(MORNING + HZ * 20, 50 * HZ, timecode_rate=PAL))[0] is Extent.NOT


def test_a_pack_without_a_rate_runs_at_the_recorders():
    assert only(rec(MORNING), pack(MORNING, HOUR, timecode_rate=None))[0] is Extent.WHOLE
    bare = rec(MORNING, timecode_rate=None)
    assert only(bare, pack(MORNING, HOUR, timecode_rate=NTSC))[0] is Extent.WHOLE
    found = covers(bare, pack(MORNING + 4 * HZ, HOUR, timecode_rate=None))
    assert told(found.of(found.takes[0])[0], found.takes[0]) == (
        "PACK_1 (Keeper) has it from 4.0 s to 10.0 s, by timecode"
    )


def test_a_split_take_is_covered_by_its_parts():
    """What lies between two parts need not be on the pack."""
    limit = 2 * 10**9
    parts = (
        rec(MORNING, size=limit - 9),
        replace(rec(MORNING + 13 * HZ), id=2, path=b"S1T1_2.WAV"),
    )
    found = covers(*parts, pack(MORNING - HZ, 12 * HZ), pack(MORNING + 13 * HZ, HOUR, 51))
    (take,) = found.takes
    assert len(take.parts) == 2
    assert found.of(take)[0].extent is Extent.WHOLE
    found = covers(*parts, pack(MORNING - HZ, 12 * HZ))
    assert found.of(found.takes[0])[0].extent is Extent.PARTLY


def test_each_pack_is_weighed_by_itself():
    other = load(4, Role.BODYPACK, source="pack-b", label="PACK_2", identity="uuid:PACK_2")
    found = covers(
        rec(MORNING, channels=3, tracks=names("Boom", "Keeper", "Pilot")),
        pack(MORNING, HOUR),
        pack(MORNING + 5 * HZ, HOUR, 60, of=4, tracks=names("Pilot")),
        packs=(PACK, other),
    )
    (take,) = found.takes
    assert [(c.pack.card, c.pack.name, c.extent) for c in found.of(take)] == [
        ("PACK_1", "Keeper", Extent.WHOLE),
        ("PACK_2", "Pilot", Extent.PARTLY),
    ]
    (cover,) = found.covering(take, " pilot")
    assert told(cover, take) == (
        "PACK_2 (Pilot) has it from 09:00:05:00 to 09:00:10:00, by timecode"
    )
    assert [file.id for file in cover.files] == [60]
    (cover,) = found.covering(take, "KEEPER")
    assert told(cover, take) == "PACK_1 (Keeper) has all of it, by timecode"
    assert found.covering(take, "Boom") == ()


def test_a_card_that_was_formatted_in_between_stays_one_pack():
    second = load(4, Role.BODYPACK, source="pack-a", folder=b"PACK_1.load-2")
    found = covers(
        rec(MORNING), rec(MORNING + HOUR, number=2),
        pack(MORNING, MINUTE), pack(MORNING + HOUR, MINUTE, 51, of=4),
        packs=(PACK, second),
    )  # fmt: skip
    assert len(found.packs) == 1
    assert [found.of(take)[0].extent for take in found.takes] == [Extent.WHOLE] * 2


def test_a_take_in_which_the_track_is_not_armed_asks_for_nothing():
    alone = rec(MORNING + MINUTE, number=2, channels=1, tracks=names("Boom"))
    found = covers(rec(MORNING), alone, pack(MORNING, 30 * HZ))
    assert [len(found.of(take)) for take in found.takes] == [1, 0]
    found = covers(rec(MORNING), alone, pack(MORNING, HOUR))
    assert [found.of(take)[0].extent for take in found.takes] == [Extent.WHOLE] * 2


def test_yesterdays_files_on_the_card_cover_nothing_of_today():
    """The same timecode comes back each day; the day is the recorder's date."""
    old = replace(pack(MORNING, HOUR), day="2031-05-05")
    assert covers(rec(MORNING), old).of(covers(rec(MORNING)).takes[0]) == ()


def test_a_pack_that_was_switched_on_before_the_day_began_covers_what_is_of_this_day():
    """It began at 05:50 of the day before, by `day_starts_at` 06:00, and ran for two hours."""
    early = replace(pack(6 * HOUR - 10 * MINUTE, 2 * HOUR), day="2031-05-05")
    assert only(rec(6 * HOUR + MINUTE), early)[0] is Extent.WHOLE
    found = covers(rec(6 * HOUR - 5 * MINUTE), early)  # 05:55 of the morning that ends the day
    assert found.of(found.takes[0])[0].extent is Extent.NOT


def test_files_without_timecode_or_sound_are_left_out():
    opaque = pack(MORNING, HOUR, 51)
    opaque = replace(opaque, description=replace(opaque.description, kind=Kind.OTHER))
    found = covers(rec(MORNING), pack(None, HOUR), opaque, pack(MORNING, 0, 52))
    assert found.packs == ()
    found = covers(rec(MORNING, time_reference=None), pack(MORNING, HOUR))
    assert found.of(found.takes[0]) == ()


def test_the_backup_cards_takes_count_where_no_primary_one_is_known():
    take = replace(rec(MORNING), load=2)
    assert only(take, pack(MORNING, HOUR))[0] is Extent.WHOLE
    found = covers(rec(MORNING), replace(take, id=2), pack(MORNING, HOUR))
    assert [take.load for take in found.takes] == [1]


@pytest.mark.parametrize(
    ("said", "path", "source", "name"),
    [
        ({"tracks": names("KEE PER")}, b"A.WAV", "pack-a", "KEE PER"),
        ({"description": "keeper"}, b"A.WAV", "pack-a", "keeper"),
        ({}, b"Keeper_20310506_0900.WAV", "pack-a", "Keeper"),
        ({}, b"20310506 keeper 001.WAV", "pack-a", "keeper"),
        ({}, b"KEEPER/0001.WAV", "pack-a", "KEEPER"),
        ({}, b"0001.WAV", "Keeper", "Keeper"),
        ({}, b"0001.WAV", "keeper-pack", "keeper"),
        ({"tracks": names("TX 1")}, b"Keeper_01.WAV", "pack-a", "Keeper"),
        ({"tracks": names("TX 1")}, b"0001.WAV", "pack-a", "TX 1"),
        ({"tracks": names("  ")}, b"0001.WAV", "pack-a", "pack-a"),
        ({"description": "Guest"}, b"0001.WAV", "pack-a", "Guest"),
        ({"description": "sSPEED=025.000-ND\r\nsTAKE=1"}, b"0001.WAV", "pack-a", "pack-a"),
        ({}, b"0001.WAV", "pack-a", "pack-a"),
        ({}, b"\xff\xfe.WAV", "pack-a", "pack-a"),
    ],
)
def test_whose_it_is_stands_in_one_of_many_places(
    said: dict[str, Any], path: bytes, source: str, name: str
):
    file = wav(1, path, start=MORNING, of=3, **said)
    assert pack_names(file, replace(PACK, source=source), {"boom", "keeper"}) == (name,)


def test_a_name_of_two_words_is_found_before_one_of_its_words():
    file = wav(1, b"old_keeper-2.WAV", of=3)
    assert pack_names(file, PACK, {"keeper", "oldkeeper", "old"}) == ("old keeper",)


def found_by_check(*recordings: Recording) -> list[str]:
    have = known(*recordings)
    have.apply([x for r in recordings for x in copied(r, *DRIVES)])
    found = check(view(have), have, settings(), Around())
    return [f"{n.severity} {n.says}" for n in found if n.code == "pack-not-covering"]


def test_a_pack_that_lacks_takes_gets_one_note():
    takes = [rec(MORNING + n * MINUTE, number=n) for n in range(1, 7)]
    held = (pack(MORNING, MINUTE + 4 * HZ), pack(MORNING + 5 * MINUTE, HOUR, 51))
    (told_of,) = found_by_check(*takes, *held)
    assert told_of == (
        "note PACK_1 (Keeper) has 2 of 6 takes whole, by timecode. Not: scene 1, take 1 (only from "
        "09:01:00:00 to 09:01:04:00); scene 1, take 2; scene 1, take 3; and 1 more."
    )


@pytest.mark.parametrize("first", [1, 4])
def test_takes_of_several_cards_are_named_in_the_order_of_timecode(first: int):
    """Whichever card came first."""
    second = load(4, Role.PRIMARY, label="SND_A2", identity="uuid:SND_A2")
    takes = [
        replace(rec(MORNING + n * MINUTE, number=n), load=first if n < 3 else 5 - first)
        for n in range(5)
    ]
    held = pack(MORNING + 4 * MINUTE, HOUR)
    have = known(*takes, held, packs=(PACK, second))
    (said,) = [x.says for x in check(view(have), have, settings(), Around()) if "Not:" in x.says]
    assert said.endswith("Not: scene 1, take 0; scene 1, take 1; scene 1, take 2; and 1 more.")


def test_a_pack_that_has_all_or_nothing_gets_none():
    takes = [rec(MORNING + n * MINUTE, number=n) for n in range(1, 4)]
    assert found_by_check(*takes, pack(MORNING, HOUR)) == []
    assert found_by_check(*takes, pack(MORNING + 3 * HOUR, HOUR)) == []
    boom = rec(MORNING + 4 * HOUR, number=9, channels=1, tracks=names("Boom"))
    assert found_by_check(*takes, boom, pack(MORNING, HOUR)) == []


def test_a_transmitters_files_are_never_missing_from_the_backup_card():
    """They owe copies and a second read like others, and no counterpart."""
    held = pack(MORNING, HOUR)
    have = known(rec(MORNING), replace(rec(MORNING), id=2, load=2, path=b"S1T1.WAV"), held)
    found = check(view(have), have, settings(), Around())
    mine = {n.code for n in found if n.recording == held.id or n.load == PACK.id}
    assert mine == {"copies-short", "unconfirmed"}
    standing = view(have).of(held.id)
    assert standing is not None
    assert standing.answer is None
    assert standing.owes_copies


def test_what_was_recorded_again_on_a_transmitters_card_stands_beside_the_recorders_take():
    """By scene and take, or where it names neither by timecode; never a take of its own."""
    named = wav(60, b"1-T2_rerec.WAV", start=20 * HOUR, of=3, tracks=names("Keeper"))
    timed = pack(MORNING + 2 * HZ, HZ, 61, note="rerec")
    have = known(rec(MORNING), rec(MORNING + MINUTE, number=2), pack(MORNING, HOUR), named, timed)
    judged = judge(have, DAY, settings())
    assert [(t.load, t.take, [a.first for a in t.again]) for t in judged.takes] == [
        (1, "1", [61]),
        (1, "2", [60]),
        (3, "", []),
    ]
    assert not [n for n in judged.findings if n.code in ("take-twice", "take-numbers")]


def test_what_was_recorded_again_on_a_second_card_of_the_recorder_too():
    second = load(4, Role.PRIMARY, label="SND_A2", identity="uuid:SND_A2")
    again = replace(rec(MORNING + HOUR), id=70, load=4, path=b"x_rerec.WAV")
    first = replace(rec(MORNING), id=1)
    have = known(first, wav(2, b"b_rerec.WAV", "1", "1", MORNING), again, packs=(second,))
    judged = judge(have, DAY, settings())
    assert [(t.first, [a.first for a in t.again]) for t in judged.takes] == [(1, [2, 70])]
    assert not [n for n in judged.findings if n.code == "take-twice"]


def test_what_was_recorded_again_stays_on_its_side_of_the_cards():
    """A backup card's goes to the backup card's original, as the primary's to the primary's."""
    files = [
        replace(wav(n + of, path, "1", "1", MORNING), load=of)
        for n, path in ((10, b"T1.WAV"), (20, b"T1_rerec.WAV"))
        for of in (1, 2)
    ]
    judged = judge(known(*files), DAY, settings())
    assert [(t.load, [a.load for a in t.again]) for t in judged.takes] == [(1, [1]), (2, [2])]


@pytest.mark.parametrize("rate", [NTSC, PAL, DROP, Rate(30000, 1001), Rate(60000, 1001, drop=True)])
def test_what_labels_show_and_back(rate: Rate):
    """Exact both ways; whole labels show what `label` says."""
    for sample in (0, 1, 59 * HZ, 60 * HZ + 7, 3600 * HZ + 11, 10 * HOUR + 3, 20 * HOUR):
        shows = seconds_shown(sample, HZ, rate)
        assert samples_when(shows, HZ, rate) == sample
        hours, rest = divmod(int(shows), 3600)
        text = f"{hours:02}:{rest // 60:02}:{rest % 60:02}"
        assert label(sample, HZ, rate).startswith(text) or shows % 1 > Fraction(9, 10)


def test_a_label_that_drop_frame_leaves_out_is_the_next_one():
    """00:01:00;00 and ;01 do not exist at 29.97 drop-frame (SMPTE ST 12-1): frame 1800 is ;02."""
    next_one = Fraction(1800 * 1001 * HZ, 30000)
    assert samples_when(Fraction(60), HZ, DROP) == next_one
    assert samples_when(60 + Fraction(2, 30), HZ, DROP) == next_one
    assert samples_when(Fraction(600), HZ, DROP) == Fraction(17_982 * 1001 * HZ, 30000)


def test_drop_frame_and_non_drop_meet_where_their_labels_do():
    """10:00:00 is frame 1,080,000 of 29.97 non-drop and 1,078,920 of drop-frame (ST 12-1)."""
    first = 1_078_920 * 1001 * HZ // 30000
    take = rec(first, timecode_rate=DROP)
    held = pack(1_080_000 * 1001 * HZ // 30000, HOUR, timecode_rate=Rate(30000, 1001))
    extent, spans = only(take, held)
    assert (extent, spans[0][0]) == (Extent.WHOLE, 0)


def test_the_sentence_for_a_take_that_is_not_there():
    found = covers(rec(MORNING), pack(MORNING + HOUR, HOUR))
    (take,) = found.takes
    assert isinstance(take, Take)
    assert told(found.of(take)[0], take) == "PACK_1 (Keeper) has none of it"
    assert found.covering(take, "Keeper") == ()
