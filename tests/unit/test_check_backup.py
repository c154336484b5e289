"""What is said of a backup that does not hold the audio as the primary card has it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    NOON,
    copied,
    digests,
    ledger,
    load,
    recording,
    settings,
    taken,
    target,
    trouble,
    view,
)
from planworld import cards as loads
from takehold.decide.check import Around, check, verdict
from takehold.decide.confirm import second_reads
from takehold.decide.keys import compare_key
from takehold.decide.manifest_file import file_entry
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Finding, Relation, Severity, Verdict
from takehold.model.settings import Role
from takehold.model.sound import Complaint, Description, Kind, Sound, Track, WaveFormat
from twocards import HZ, Cards

DRIVES = (target("shuttle-1"), target("shuttle-2"))
LINES = [tuple(range(n, 4000, 91)) for n in (1, 2, 3)]
OTHER = tuple(range(50, 4000, 91))
# 10:00:00:00 at 25 frames a second.
TEN = 10 * 3600 * HZ
TRACKS = tuple(Track(n, n, name) for n, name in enumerate(("Mix", "Boom", "Anna"), 1))


def facts_of(made: Cards, *more: f.Fact, twice: bool = True) -> list[f.Fact]:
    """Each file read twice and proven on both drives."""
    files = [replace(r, readings=r.readings * (1 + twice)) for r in made.files.values()]
    return [*loads(), *taken(*files), *(c for r in files for c in copied(r, *DRIVES)), *more]


def found(facts: list[f.Fact]) -> tuple[Finding, ...]:
    known = ledger(facts)
    return check(view(known), known, settings(), Around())


def about_backup(facts: list[f.Fact]) -> list[Finding]:
    return [x for x in found(facts) if x.code.startswith(("backup", "primary", "only"))]


def pair(theirs: list[Any], bits: int = 24, start: int = TEN) -> Cards:
    made = Cards()
    made.add(1, "T.WAV", LINES, TEN, tracks=TRACKS, number=1)
    made.add(2, "T.WAV", theirs, start, bits, number=2)
    return made


def compared(relation: Relation, **figures: Any) -> f.Compared:
    return f.Compared(Comparison((1,), (2,), relation, NOON, **figures))


@pytest.mark.parametrize(("empty", "says"), [(1, "SND_A1/T.WAV: it holds"), (2, "backup's file")])
def test_a_file_without_audio_holds_no_other_audio(empty: int, says: str) -> None:
    made = pair(LINES)
    nothing = Description(Kind.OTHER, complaints=(Complaint("empty-file", "0 bytes"),))
    bare = tuple(r._replace(sound=None) for r in made.files[empty].readings)
    made.files[empty] = replace(made.files[empty], description=nothing, readings=bare)
    (one,) = [x for x in about_backup(facts_of(made)) if x.code == "backup-different"]
    assert says in one.says
    assert "no audio that can be read" in one.says
    assert "Listen" not in one.do


def test_until_it_is_compared_the_day_holds() -> None:
    facts = facts_of(pair(LINES, bits=16))
    (one,) = about_backup(facts)
    assert (one.code, one.severity) == ("backup-uncompared", Severity.HOLD)
    assert one.says == "SND_A1/T.WAV: its audio is being compared with the backup's."
    assert verdict(found(facts), {})[0] is Verdict.HOLD


def test_a_comparison_that_failed_says_why() -> None:
    facts = facts_of(pair(LINES, bits=16), trouble(compare_key((1,), (2,))))
    (one,) = about_backup(facts)
    assert (one.code, one.do) == ("backup-uncompared", "Look at it.")
    assert one.says.endswith("It failed.")


def test_a_lower_quality_is_told_with_its_figures() -> None:
    done = compared(Relation.REDUCED, residual_db=-96.34, correlation=0.99997)
    (one,) = about_backup(facts_of(pair(LINES, bits=16), done))
    assert (one.code, one.severity) == ("backup-reduced", Severity.LOOK)
    assert "what differs lies 96.3 dB below it, correlation 1.0000" in one.says


def test_tracks_without_a_backup_are_named() -> None:
    (one,) = about_backup(facts_of(pair(LINES[:1])))
    assert (one.code, one.severity) == ("backup-partial", Severity.LOOK)
    assert one.says == (
        "SND_A1/T.WAV: the backup holds other tracks of it only: tracks 2 (Boom), 3 (Anna) have no "
        "backup."
    )


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (
            compared(Relation.SHORT, frame=40, frames=4),
            compared(Relation.SHORT, frames=24, frame=20),
        ),
        (
            compared(Relation.DIFFERENT, frame=40, channels=(2,)),
            compared(Relation.DIFFERENT, frame=40, channels=(1, 2, 3)),
        ),
    ],
)
def test_a_decision_holds_for_what_was_lost_then(before: f.Fact, after: f.Fact) -> None:
    """More of it is lacking: another finding, about which nobody decided yet."""
    ids = [about_backup(facts_of(pair(LINES, bits=16), done))[0].id for done in (before, after)]
    assert ids[0] != ids[1]


def test_a_decision_holds_for_the_backup_that_was_there() -> None:
    """Of the same tracks, in another file."""
    (one,) = about_backup(facts_of(pair(LINES[:1])))
    other = pair(LINES[:1])
    (read,) = other.files[2].readings
    written_anew = read._replace(digests=digests(b"its metadata was edited"))
    other.files[2] = replace(other.files[2], readings=(written_anew,))
    (now,) = about_backup(facts_of(other))
    assert (one.says, one.id == now.id) == (now.says, False)


def test_a_reduced_mix_is_both() -> None:
    done = compared(Relation.REDUCED, residual_db=-90, channels=(2,))
    (one,) = about_backup(facts_of(pair(LINES[:1], bits=16), done))
    assert one.code == "backup-partial"
    assert one.says.endswith(
        "at a lower quality: what differs lies 90.0 dB below it; and other tracks of it only: "
        "track 2 (Boom) has no backup."
    )
    assert "of this quality is what was meant and that these tracks need no backup" in one.do


def test_other_audio_names_timecode_and_tracks() -> None:
    """25 frames a second: one and a half seconds are 1:12."""
    done = compared(Relation.DIFFERENT, frame=3 * HZ // 2, channels=(2,))
    (one,) = about_backup(facts_of(pair(LINES, bits=16), done))
    assert one.code == "backup-different"
    assert one.says.endswith("holds other audio, from 10:00:01:12 on, on track 2 (Boom).")


def test_the_wrong_track_is_known_before_the_samples_are_compared() -> None:
    wrong = (*LINES[1][:5], 9, *LINES[1][6:])
    (one,) = about_backup(facts_of(pair([LINES[0], wrong, LINES[2]])))
    assert one.says.endswith("holds other audio, from 10:00:00:00 on, on track 2 (Boom).")


@pytest.mark.parametrize(
    ("frame", "frames", "says"),
    [
        (
            20,
            24,
            "holds the beginning only; 24 frames are missing at its end, from 10:00:00:00 on.",
        ),
        (0, 20, "holds a part only; 20 frames are missing, from 10:00:00:00 on."),
        (43, 1, "holds the beginning only; 1 frame is missing at its end, from 10:00:00:00 on."),
        (0, 48, "holds the beginning only; 0.001 s are missing at its end, from 10:00:00:00 on."),
    ],
)
def test_a_short_backup_says_where(frame: int, frames: int, says: str) -> None:
    assert len(LINES[0]) == 44
    done = compared(Relation.SHORT, frame=frame, frames=frames)
    (one,) = about_backup(facts_of(pair(LINES, bits=16), done))
    assert one.code == "backup-short"
    assert one.says.endswith(says)


def test_a_short_backup_of_lower_quality_is_both() -> None:
    done = compared(Relation.SHORT, frame=20, frames=24, residual_db=-90, correlation=0.99)
    told = [x.code for x in about_backup(facts_of(pair(LINES, bits=16), done))]
    assert told == ["backup-reduced", "backup-short"]


@pytest.mark.parametrize(
    ("frames", "says"),
    [
        (HZ, "correlation 0.9000, 1.000 s longer than this file."),
        (-HZ // 4, "correlation 0.9000, 0.250 s shorter than this file."),
        (0, "correlation 0.9000."),
        (None, "correlation 0.9000."),
    ],
)
def test_a_lower_quality_says_how_much_longer_it_is(frames: int | None, says: str) -> None:
    done = compared(Relation.REDUCED, correlation=0.9, duration_difference=frames)
    (one,) = about_backup(facts_of(pair(LINES, bits=16), done))
    assert one.says.endswith(says)


def test_a_longer_backup_of_lower_quality_is_both() -> None:
    """Its seconds are told once; tracks without a backup are named too."""
    figures: dict[str, Any] = {"residual_db": -90, "correlation": 0.99, "duration_difference": HZ}
    done = compared(Relation.LONGER, frames=HZ, alone=(3,), **figures)
    facts = facts_of(pair(LINES[:2], bits=16), done)
    part, longer = about_backup(facts)
    assert [one.code for one in (part, longer)] == ["backup-partial", "primary-short"]
    assert "1.000 s more" in longer.says
    assert "correlation 0.9900; and other tracks of it only: " in part.says
    assert part.says.endswith("3 (Anna) has no backup.")
    told = entry(facts)
    assert (told["relation"], told["alone"], told["duration_difference"]) == ("longer", [3], HZ)


@pytest.mark.parametrize("relation", [Relation.LONGER, Relation.SHORT])
def test_the_parts_that_are_whole_are_of_lower_quality_too(relation: Relation) -> None:
    """Of a take in two parts whose backup differs in length at its end."""
    made = Cards()
    made.add(1, "T_1.WAV", LINES, TEN, number=1)
    made.add(1, "T_2.WAV", LINES, TEN + len(LINES[0]), number=2)
    made.add(2, "T.WAV", LINES, TEN, 16, number=9)
    frame = 60 if relation is Relation.SHORT else None
    figures: dict[str, Any] = {"residual_db": -90.0, "duration_difference": 28}
    said = Comparison((1, 2), (9,), relation, NOON, frame, 28, **figures)
    told = [(x.code, x.recording) for x in about_backup(facts_of(made, f.Compared(said)))]
    cut = "primary-short" if relation is Relation.LONGER else "backup-short"
    assert sorted(told) == sorted([("backup-reduced", 1), ("backup-reduced", 2), (cut, 2)])


def test_a_short_mix_names_the_tracks_that_have_no_backup_at_all() -> None:
    done = compared(Relation.SHORT, frame=20, frames=24, channels=(1,), alone=(2, 3))
    part, short = about_backup(facts_of(pair(LINES[:1], bits=16), done))
    assert short.says.endswith("from 10:00:00:00 on, on track 1 (Mix).")
    assert part.says.endswith("of it only: tracks 2 (Boom), 3 (Anna) have no backup.")


def test_of_a_set_the_monos_without_a_backup_are_missing_though_the_mix_is_short() -> None:
    made = Cards()
    for number, line in enumerate(LINES, 1):
        made.add(1, f"T_{number}.WAV", [line], TEN, number=number)
    made.add(2, "T.WAV", LINES[:1], TEN, 16, number=9)
    said = Comparison((1, 2, 3), (9,), Relation.SHORT, NOON, 20, 24, (1,), alone=(2, 3))
    told = [x.code for x in about_backup(facts_of(made, f.Compared(said)))]
    assert told == ["backup-missing", "backup-missing", "backup-short"]


def test_a_whole_part_of_a_short_mix_has_no_backup_of_its_other_tracks() -> None:
    """The first part is there, but its mix only; of the second one some frames are missing too."""
    made = Cards()
    made.add(1, "T_1.WAV", LINES, TEN, number=1)
    made.add(1, "T_2.WAV", LINES, TEN + len(LINES[0]), number=2)
    made.add(2, "T.WAV", LINES[:1], TEN, 16, number=9)
    said = Comparison((1, 2), (9,), Relation.SHORT, NOON, 60, 28, (1,), alone=(2, 3))
    told = [(x.code, x.recording) for x in about_backup(facts_of(made, f.Compared(said)))]
    assert sorted(told) == [("backup-partial", 1), ("backup-partial", 2), ("backup-short", 2)]


@pytest.mark.parametrize(
    ("relation", "start", "offset", "says"),
    [
        (Relation.SHORT, TEN, 1, "on; its sound lies 1 frame later than both TimeReferences say"),
        (Relation.LONGER, TEN, -2, "cut; its sound lies 2 frames earlier than both TimeReferences"),
        (Relation.REDUCED, TEN - HZ, None, "its sound lies 1.000 s earlier than both"),
        (Relation.REDUCED, TEN - HZ, HZ, "96.0 dB below it."),
        (Relation.SHORT, TEN + 20, -20, "from 10:00:00:00 on; and it holds"),
    ],
)
def test_sound_that_lies_elsewhere_than_its_timecode_says(
    relation: Relation, start: int, offset: int | None, says: str
) -> None:
    """`offset` is what was heard; what TimeReference tells by itself is no news."""
    figure = -96.0 if relation is Relation.REDUCED else None
    done = compared(relation, frame=43, frames=1, offset=offset, residual_db=figure)
    (one,) = about_backup(facts_of(pair(LINES, bits=16, start=start), done))
    assert says in one.says


def test_it_lies_across_midnight() -> None:
    """Both begin around the label 00:00:00:00."""
    made = Cards()
    made.add(1, "T.WAV", LINES, 10, number=1)
    made.add(2, "T.WAV", LINES, 24 * 3600 * HZ - 5, 16, number=2)
    done = compared(Relation.SHORT, frame=43, frames=1, offset=16)
    (one,) = about_backup(facts_of(made, done))
    assert "; its sound lies 1 frame later than both TimeReferences say" in one.says


@pytest.mark.parametrize(
    ("damaged", "says"),
    [
        (1, "this file does not decode."),
        (2, "the backup's file does not decode."),
        (None, "one of the files does not decode."),
    ],
)
def test_what_does_not_decode_is_a_persons_decision(damaged: int | None, says: str) -> None:
    """Nothing is tried any more, and no drive is asked for."""
    made = pair(LINES, bits=16)
    if damaged:
        file = made.files[damaged]
        about = replace(file.description, complaints=(Complaint("not-decoded", ""),))
        made.files[damaged] = replace(file, description=about)
    facts = facts_of(made, compared(Relation.UNDECODED))
    (one,) = about_backup(facts)
    assert (one.code, one.severity) == ("backup-not-comparable", Severity.LOOK)
    assert one.says.endswith("cannot be compared with the backup's: " + says)
    assert view(ledger(facts)).uncompared == ()
    once = facts_of(made, compared(Relation.UNDECODED), twice=False)
    assert [x.severity for x in about_backup(once)] == [Severity.HOLD]


@pytest.mark.parametrize(
    ("coded", "whose"), [((1, 2), "this file"), ((1,), "this file"), ((2,), "the backup's file")]
)
def test_a_coding_that_is_not_decoded_is_not_called_other_audio(
    coded: tuple[int, ...], whose: str
) -> None:
    """Its blocks hold several samples: neither a length nor a place can be told (RFC 2361)."""
    made = pair([*LINES[:2], OTHER])
    form = WaveFormat(0x11, 2, HZ, 4, 1024)
    for number in coded:
        file = made.files[number]
        sound = Sound(71, f"{number:032}", bytes(8))  # as it is measured: 71 blocks, no channel
        about = replace(file.description, format=form, frames=None)
        read = file.readings[0]._replace(sound=sound)
        made.files[number] = replace(file, description=about, readings=(read,))
    (one,) = about_backup(facts_of(made))
    assert one.code == "backup-not-comparable"
    assert one.says.endswith(
        f": the audio of {whose} is coded otherwise (ADPCM, tag 0x0011), which is not decoded here."
    )


def test_what_may_be_another_take_with_the_same_playback_is_not_called_lower_quality() -> None:
    figures = {"residual_db": -4.3, "correlation": 0.6748, "alone": (2,)}
    told = about_backup(facts_of(pair(LINES, bits=16), compared(Relation.UNDECODED, **figures)))
    assert [x.code for x in told] == ["backup-not-comparable", "backup-partial"]
    assert "nothing shows both to be of one take" in told[0].says
    assert told[0].says.endswith("what differs lies 4.3 dB below it, correlation 0.6748.")


def test_each_file_of_a_set_that_cannot_be_compared_says_so() -> None:
    made = Cards()
    for number, line in enumerate(LINES, 1):
        made.add(1, f"T_{number}.WAV", [line], TEN, number=number)
    made.add(2, "T.WAV", LINES, TEN, 16, number=9)
    done = f.Compared(Comparison((1, 2, 3), (9,), Relation.UNDECODED, NOON))
    told = [x.code for x in about_backup(facts_of(made, done))]
    assert told == ["backup-not-comparable"] * 3


def test_another_layout_is_fine() -> None:
    made = Cards()
    made.add(1, "T.WAV", LINES, TEN)
    for n, line in enumerate(LINES):
        made.add(2, f"T_{n}.WAV", [line], TEN)
    assert about_backup(facts_of(made)) == []
    assert verdict(found(facts_of(made)), {})[0] is Verdict.READY


def test_another_layout_confirms_nothing_and_asks_for_a_second_read() -> None:
    """P8: what stands around the audio was read once."""
    made = Cards()
    made.add(1, "T.WAV", LINES, TEN)
    made.add(2, "T.WAV", LINES[::-1], TEN)
    facts = facts_of(made, twice=False)
    known = ledger(facts)
    assert [x.code for x in found(facts) if x.severity is Severity.HOLD] == ["unconfirmed"] * 2
    here = [known.recordings[r.id] for r in made.card(1)]
    assert second_reads(known, here, settings(), {}, NOON) == here


def entry(facts: list[f.Fact], number: int = 1) -> dict[str, Any]:
    day = view(ledger(facts))
    told: Any = file_entry(day.index[number], day, "Lantern Bay", str)["counterpart"]
    return dict(told)


def test_the_manifest_names_all_files_of_a_counterpart() -> None:
    made = Cards()
    made.add(1, "T.WAV", LINES, TEN, number=1)
    for n, line in enumerate(LINES, 2):
        made.add(2, f"T_{n}.WAV", [line], TEN, number=n)
    assert entry(facts_of(made)) == {
        "relation": "same audio, other layout",
        "load": 2,
        "path": "T_2.WAV",
        "also": [{"load": 2, "path": "T_3.WAV"}, {"load": 2, "path": "T_4.WAV"}],
    }
    assert entry(facts_of(made), 2)["path"] == "T.WAV"


def test_the_manifest_holds_the_figures() -> None:
    done = compared(Relation.REDUCED, residual_db=-90.5, correlation=0.5, channels=(2,))
    told = entry(facts_of(pair(LINES, bits=16), done))
    named = {"load": 2, "path": "T.WAV"}
    figures = {"channels": [2], "residual_db": -90.5, "correlation": 0.5}
    assert told == {"relation": "reduced", **named, **figures}


# -- containers


def opaque(path: bytes = b"A.BLK", number: int = 1) -> Any:
    return recording(number, path, audio=None, head=path, description=Description(Kind.OTHER))


def test_containers_are_said_once_and_the_backups_takes_are_checked() -> None:
    made = Cards()
    said = {"scene": "1", "family_uid": "F", "total_files": 3}
    for n in (1, 2):
        made.add(2, f"T_{n}.WAV", [LINES[n]], TEN, take="1", set_index=str(n), **said)
    boxes = [replace(x, readings=x.readings * 2) for x in (opaque(), opaque(b"B.BLK", 2))]
    facts = [*facts_of(made), *taken(*boxes), *(c for x in boxes for c in copied(x, *DRIVES))]
    told = found(facts)
    assert [x.code for x in told if x.severity is not Severity.NOTE] == [
        "set-incomplete",
        "primary-not-comparable",
    ]
    (once,) = [x for x in told if x.code == "primary-not-comparable"]
    assert "its 2 files cannot be looked into" in once.says
    assert "among themselves (1 take);" in once.says


@pytest.mark.parametrize("path", [b"LOG.TXT", b"T01.WAV"])
def test_notes_and_damaged_audio_are_no_containers(path: bytes) -> None:
    made = Cards()
    made.add(2, "X.WAV", LINES, TEN)
    told = {x.code for x in found([*facts_of(made), *taken(opaque(path))])}
    assert "primary-not-comparable" not in told
    assert "only-on-backup" in told


def test_a_primary_card_that_can_be_read_is_matched_whatever_lies_beside() -> None:
    facts = [*facts_of(pair(LINES)), *taken(opaque(number=9))]
    assert {x.code for x in about_backup(facts)} == {"backup-unknown"}


def test_what_a_recorder_keeps_beside_its_takes_is_one_decision() -> None:
    """Nobody decides on eighty files one by one; one more, and it is another finding."""
    beside = [opaque(b"T%d.PEAK" % n, number=n) for n in range(10, 15)]
    told = [about_backup([*facts_of(pair(LINES)), *taken(*beside[:n])]) for n in (4, 5)]
    ((four,), (five,)) = told
    assert (four.code, four.id == five.id) == ("backup-unknown", False)
    assert four.says == (
        "SND_A1: 4 files may hold audio, and the backup card has no such file of their names: "
        "T10.PEAK, T11.PEAK, T12.PEAK and 1 more."
    )


# -- a container on one card, and another card that can be read


def two_recorders() -> tuple[Cards, list[Any]]:
    """Load 1 with its backup 2 can be read; load 5 holds containers, its backup is load 6."""
    made = pair(LINES)
    for n in (1, 3):
        lines = [tuple(s + 10 * n for s in LINES[0])]
        made.add(6, f"B{n}.WAV", lines, TEN + n * HZ, scene="7", take=str(n), originator="second")
    boxes = [opaque(b"A.BLK", 50), opaque(b"B.BLK", 51)]
    return made, [replace(x, load=5, readings=x.readings * 2) for x in boxes]


def on_two(made: Cards, boxes: list[Any]) -> list[Finding]:
    more = [f.LoadSeen(load(5, label="BOX_A1")), f.LoadSeen(load(6, Role.BACKUP, label="BOX_B1"))]
    copies = [c for x in boxes for c in copied(x, *DRIVES)]
    told = found([*more, *facts_of(made), *taken(*boxes), *copies])
    return [x for x in told if x.severity is not Severity.NOTE]


def test_a_container_beside_a_card_that_can_be_read_is_said_for_its_card_alone() -> None:
    """Its backup's takes are checked among themselves; the readable card's part stays quiet."""
    told = on_two(*two_recorders())
    assert {x.code for x in told} == {"primary-not-comparable", "take-numbers"}
    (once,) = [x for x in told if x.code == "primary-not-comparable"]
    assert once.says.startswith("BOX_A1: its 2 files cannot be looked into.")
    assert "takes that answer no other card were checked among themselves (2 takes)" in once.says
    (gap,) = [x for x in told if x.code == "take-numbers"]
    assert "scene 7 has no take 2" in gap.says


def test_the_other_cards_takes_fill_no_gap_of_the_containers() -> None:
    """Both recorders count the takes of one scene: one has take 2, the other's backup has not."""
    made, boxes = two_recorders()
    for of, n in ((1, 60), (2, 61)):
        made.add(of, "7-T2.WAV", [OTHER], TEN + 99 * HZ, number=n, scene="7", take="2")
    told = on_two(made, boxes)
    assert any("backup: scene 7 has no take 2" in x.says for x in told)


def test_what_the_readable_cards_backup_has_beyond_it_is_told() -> None:
    """Its own backup card holds a take more: that is no container's audio."""
    made, boxes = two_recorders()
    made.add(2, "LOST.WAV", [OTHER], TEN + 500 * HZ, number=70)
    told = on_two(made, boxes)
    (alone,) = [x for x in told if x.code == "only-on-backup"]
    assert "LOST.WAV" in alone.says
    assert "as far as the primary cards can be looked into" in alone.says


def test_a_missing_backup_of_the_readable_card_is_told_beside_containers() -> None:
    made, boxes = two_recorders()
    made.add(1, "MORE.WAV", [OTHER], TEN + 500 * HZ, number=71)
    told = on_two(made, boxes)
    assert [x.subject for x in told if x.code == "backup-missing"] == [
        "Lantern Bay/2031-05-06/SND_A1/MORE.WAV"
    ]


def test_a_container_that_lies_on_a_backup_card_too_is_compared() -> None:
    """In the same bytes: nothing is left to be said of it."""
    made, boxes = two_recorders()
    twins = [replace(x, id=x.id + 30, load=6) for x in boxes]
    told = on_two(made, [*boxes, *twins])
    assert "primary-not-comparable" not in {x.code for x in told}


def test_a_container_without_any_backup_is_told_by_file() -> None:
    """All audio of the backup cards answers the readable card."""
    _, boxes = two_recorders()
    told = on_two(pair(LINES), boxes)
    assert {x.code for x in told} == {"backup-unknown"}


def test_the_same_recorders_two_cards_share_a_backup() -> None:
    """What answers none may be in the containers: it is not called missing from the primary."""
    made = pair(LINES)
    made.add(2, "T2.WAV", [OTHER], TEN + 99 * HZ, number=72)
    _, boxes = two_recorders()
    assert {x.code for x in on_two(made, boxes)} == {"primary-not-comparable"}


# -- files that were made from others on their card


SAID = {"scene": "1", "take": "1", "originator": "r", "family_uid": "F"}


def poly_and_split(of: int, first: int, made: Cards) -> Cards:
    """A poly file, and the monos that were split from it there."""
    made.add(of, "P.WAV", LINES, TEN, number=first, file_uid="U", total_files=1, **SAID)
    for n, line in enumerate(LINES, 1):
        told = {"file_uid": f"V{n}", "parent_uid": "U", "total_files": 3, "set_index": str(n)}
        made.add(of, f"P_{n}.WAV", [line], TEN, number=first + n, **told, **SAID)
    return made


def test_monos_split_from_a_poly_need_no_backup_of_their_own() -> None:
    """Their audio is on the backup in the poly's file, which still answers the poly alone."""
    made = poly_and_split(1, 10, Cards())
    made.add(2, "P.WAV", LINES, TEN, number=2, file_uid="U", total_files=1, **SAID)
    assert about_backup(facts_of(made)) == []
    found = made.match()
    assert [x.relation for x in found.primaries] == [
        Relation.IDENTICAL,
        *[Relation.OTHER_LAYOUT] * 3,
    ]
    assert [(x.relation, x.others) for x in found.backups] == [(Relation.IDENTICAL, (10,))]


def test_monos_split_from_a_poly_take_no_backup_from_it() -> None:
    """The backup card has the take in monos: they are the poly's backup, and the split's too."""
    made = poly_and_split(1, 10, Cards())
    for n, line in enumerate(LINES, 1):
        made.add(2, f"B_{n}.WAV", [line], TEN, number=30 + n, set_index=str(n), **SAID)
    assert about_backup(facts_of(made)) == []
    assert {x.relation for x in made.match().primaries} == {Relation.OTHER_LAYOUT}


def test_the_same_split_on_both_cards_is_the_same() -> None:
    made = poly_and_split(2, 20, poly_and_split(1, 10, Cards()))
    assert about_backup(facts_of(made)) == []
    assert {x.relation for x in made.match().primaries} == {Relation.IDENTICAL}


def test_a_made_file_whose_audio_is_nowhere_on_the_backup_is_told() -> None:
    """It was mixed or processed: only this card has it."""
    made = Cards()
    made.add(1, "P.WAV", LINES, TEN, number=1, file_uid="U", **SAID)
    made.add(1, "MIX.WAV", [OTHER], TEN, number=3, parent_uid="U", **SAID)
    made.add(2, "P.WAV", LINES, TEN, number=2, file_uid="U", **SAID)
    (told,) = about_backup(facts_of(made))
    assert (told.code, "MIX.WAV" in told.says) == ("backup-missing", True)


def test_another_sample_rate_is_said_and_not_called_other_audio() -> None:
    """Nothing is resampled, so nothing shows that the audio is another one."""
    made = pair(LINES, bits=16)
    its = made.files[2]
    form = its.description.format
    assert form is not None
    other = replace(its.description, format=replace(form, sample_rate=44_100))
    made.files[2] = replace(its, description=other)
    (one,) = about_backup(facts_of(made, compared(Relation.DIFFERENT)))
    assert one.code == "backup-different"
    assert one.says.endswith(
        f"recording of it has a sample rate of 44100 Hz, the primary's {HZ} Hz: not comparable."
    )


def test_what_differs_says_what_is_missing_besides() -> None:
    """And which tracks have no backup at all."""
    done = compared(
        Relation.DIFFERENT, frame=20, channels=(1,), alone=(3,), missing=((1, 30, 44), (2, 30, 44))
    )
    other, part = sorted(about_backup(facts_of(pair(LINES[:2], bits=16), done)), key=code)
    assert part.code == "backup-partial"
    assert other.says.endswith(
        "other audio, from 10:00:00:00 on, on track 1 (Mix); and some of it is missing there, "
        "from 10:00:00:00 on."
    )


def test_a_part_beside_one_that_differs_is_told_to_be_of_lower_quality() -> None:
    """Without the figures, which are those of what differs, too."""
    made = Cards()
    made.add(1, "T_1.WAV", LINES, TEN, number=1)
    made.add(1, "T_2.WAV", LINES, TEN + len(LINES[0]), number=2)
    made.add(2, "T.WAV", LINES, TEN, 16, number=9)
    figures: dict[str, Any] = {"frame": 60, "channels": (1,), "residual_db": -3.0}
    said = f.Compared(Comparison((1, 2), (9,), Relation.DIFFERENT, NOON, **figures))
    other, reduced = sorted(about_backup(facts_of(made, said)), key=code)
    assert (other.code, other.recording) == ("backup-different", 2)
    assert (reduced.code, reduced.recording) == ("backup-reduced", 1)
    assert reduced.says.endswith("the backup holds it at a lower quality.")


def code(one: Finding) -> str:
    return one.code


def test_what_is_too_short_to_be_told_from_another_take_says_so() -> None:
    done = compared(Relation.UNDECODED, residual_db=-20.0)
    (one,) = about_backup(facts_of(pair(LINES[:1], bits=16), done))
    assert one.code == "backup-not-comparable"
    assert one.says.endswith("they are too short to show that both are of one take.")
