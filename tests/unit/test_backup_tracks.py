"""Tracks that one card holds and the other lacks, holds better, or holds otherwise."""

from __future__ import annotations

import math
from dataclasses import replace
from struct import pack
from typing import Any

import pytest
from test_check_backup import LINES, TEN, TRACKS, about_backup, compared, facts_of, pair

from planworld import recording
from takehold.decide.match import match
from takehold.formats.audio import AudioMeter
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.recording import Recording
from takehold.model.sound import Description, Kind, Metadata, Span, WaveFormat
from twocards import HZ, Cards, Line, relations

SAID: dict[str, Any] = {"scene": "4", "take": "2"}
ONE: Line = (1,) * 44
NOTHING: Line = (0,) * 44
FLIPPED: Line = (*ONE[:20], -1, *ONE[21:])


def told(made: Cards, *more: Any) -> list[tuple[str, str]]:
    return [(x.code, x.says) for x in about_backup(facts_of(made, *more))]


# -- tracks that are on the backup only


def test_tracks_that_only_the_backup_has_are_named() -> None:
    """The primary recorded the mix alone: nothing else would say so."""
    made = Cards()
    made.add(1, "T.WAV", LINES[:1], TEN, number=1)
    made.add(2, "T.WAV", LINES, TEN, tracks=TRACKS, number=2)
    (one,) = about_backup(facts_of(made))
    assert (one.code, one.severity, one.recording) == ("only-on-backup", Severity.LOOK, 2)
    assert one.says == "SND_B1/T.WAV: tracks 2 (Boom), 3 (Anna) are on the backup card only."


def test_a_track_that_only_the_backup_has_is_known_by_comparison_too() -> None:
    """Of a backup in 16 bits no digest tells it."""
    made = Cards()
    made.add(1, "T.WAV", LINES[:2], TEN, number=1)
    made.add(2, "T.WAV", LINES, TEN, 16, tracks=TRACKS, number=2)
    done = compared(Relation.REDUCED, residual_db=-90.0, theirs_alone=(3,))
    assert ("only-on-backup", "SND_B1/T.WAV: track 3 (Anna) is on the backup card only.") in told(
        made, done
    )


def test_monos_that_lack_a_track_are_answered_and_the_track_is_told() -> None:
    """Two monos against a poly file of three; each mono is whole on the backup."""
    made = Cards()
    for n in (1, 2):
        made.add(1, f"T_{n}.WAV", [LINES[n - 1]], TEN, number=n, set_index=str(n), **SAID)
    made.add(2, "T.WAV", LINES, TEN, number=3, tracks=TRACKS, **SAID)
    found = match(made.card(1), made.card(2))
    assert relations(found, [1, 2]) == [Relation.OTHER_LAYOUT] * 2
    assert [answer.alone for answer in found.backups] == [(3,)]


def test_a_track_that_another_primary_file_holds_is_not_alone() -> None:
    """Poly of two and a mono that begins elsewhere: together they are the backup's poly."""
    made = Cards()
    made.add(1, "A.WAV", LINES[:2], TEN)
    made.add(1, "B.WAV", LINES[2:], TEN + 9 * HZ)
    made.add(2, "C.WAV", LINES, TEN, scene="9")
    assert "only-on-backup" not in {code for code, _ in told(made)}


def test_an_idle_track_that_only_the_backup_has_is_not_told() -> None:
    made = Cards()
    made.add(1, "T.WAV", LINES[:1], TEN)
    made.add(2, "T.WAV", [LINES[0], ONE, NOTHING], TEN)
    assert told(made) == []


def test_a_further_copy_with_more_tracks_says_so() -> None:
    """The second backup card alone has the isos; the first is the same file."""
    made = pair(LINES[:1])
    made.add(1, "T.WAV", LINES[:1], TEN, number=1)
    made.add(2, "U.WAV", LINES, TEN, 16, number=3, scene="", tracks=TRACKS)
    first = match(made.card(1), made.card(2))
    assert first.uncompared == (((1,), (3,)),)
    done = compared(Relation.REDUCED, residual_db=-90.0, theirs_alone=(2, 3))
    done = done._replace(comparison=replace(done.comparison, theirs=(3,)))
    assert "only-on-backup" in {code for code, _ in told(made, done)}


def test_a_track_more_in_the_backups_set_is_on_the_backup_only() -> None:
    """Its recorder has one more track armed: that is no copy of another track gone wrong."""
    made = Cards()
    amb = tuple(range(9, 4000, 91))
    made.add(1, "T.WAV", LINES, TEN, number=1, tracks=TRACKS, **SAID)
    for n, one in enumerate((*LINES, amb), 1):
        said = {"set_index": str(n), "family_uid": "F", "total_files": 4}
        made.add(2, f"T_{n}.WAV", [one], TEN, number=10 + n, **SAID, **said)
    done = compared(Relation.DIFFERENT, frame=0, channels=(1,), alone=(2, 3))
    done = done._replace(comparison=replace(done.comparison, theirs=(14,)))
    assert match(made.card(1), made.card(2)).uncompared == (((1,), (14,)),)
    assert told(made, done) == [
        ("only-on-backup", "SND_B1/T_4.WAV: it is on the backup card only.")
    ]


def test_sound_in_place_of_a_silent_track_is_told_as_that() -> None:
    """Nothing of what sounds on the primary card is damaged, and it lacks something."""
    made = Cards()
    made.add(1, "T.WAV", [*LINES[:2], NOTHING], TEN, number=1, tracks=TRACKS)
    made.add(2, "T.WAV", LINES, TEN, number=2)
    done = compared(Relation.DIFFERENT, frame=0, channels=(3,))
    ((code, says),) = told(made, done)
    assert code == "backup-different"
    assert says.endswith(
        "has sound, from 10:00:00:00 on, on track 3 (Anna), where this file has none."
    )


def test_a_spare_of_which_only_the_relation_is_known_says_no_empty_sentence() -> None:
    """A set on a second backup card that holds less of one that is answered already."""
    made = pair(LINES)
    made.add(1, "T.WAV", LINES, TEN, number=1, **SAID)
    made.add(2, "T.WAV", LINES, TEN, number=2, note="x", **SAID)
    for n in (1, 2):
        said = {"set_index": str(n), **SAID}
        made.add(2, f"T_{n}.WAV", [LINES[n]], TEN, 16, number=10 + n, **said)
    done = compared(Relation.REDUCED, channels=(1,))
    done = done._replace(comparison=replace(done.comparison, theirs=(11, 12)))
    spare = [says for code, says in told(made, done) if code == "backup-spare"]
    assert len(spare) == 2
    assert all(says.endswith("holds it in part, or at another quality.") for says in spare)


# -- idle tracks


@pytest.mark.parametrize(
    ("mine", "its"), [(ONE, FLIPPED), (NOTHING, ONE), (ONE, NOTHING), (NOTHING, FLIPPED)]
)
def test_idle_tracks_that_differ_are_compared(mine: Line, its: Line) -> None:
    """A track at one value finds no counterpart; that its samples are others is seen all the same.

    On both cards there are as many tracks; so too of a set of monos.
    """
    made = Cards()
    made.add(1, "T.WAV", [LINES[0], mine], TEN, number=1)
    made.add(2, "T.WAV", [LINES[0], its], TEN, number=2)
    assert match(made.card(1), made.card(2)).uncompared == (((1,), (2,)),)
    made = Cards()
    for of in (1, 2):
        for n, line in ((1, LINES[0]), (2, mine if of == 1 else its)):
            made.add(of, f"{of}_{n}.WAV", [line], TEN, number=10 * of + n, set_index=str(n), **SAID)
    assert match(made.card(1), made.card(2)).uncompared == (((12,), (22,)),)


def test_idle_tracks_that_are_the_same_need_no_comparison() -> None:
    """In any order, and where one card leaves them out."""
    for its in ([LINES[0], ONE, NOTHING], [NOTHING, LINES[0], ONE], [LINES[0]], [LINES[0], ONE]):
        made = Cards()
        made.add(1, "T.WAV", [LINES[0], ONE, NOTHING], TEN, number=1)
        made.add(2, "U.WAV", its, TEN)
        found = match(made.card(1), made.card(2))
        assert found.uncompared == ()
        assert relations(found, [1])[0] in (Relation.OTHER_LAYOUT, Relation.SAME_AUDIO)


def test_silent_parts_with_other_names_are_the_same_audio() -> None:
    """Once they were compared, file by file: the payload is the same in the same format."""
    made = Cards()
    for of, name in ((1, "T"), (2, "B")):
        for n in (1, 2):
            at = TEN + n * len(NOTHING)
            made.add(of, f"{name}{n}.WAV", [NOTHING], at, number=10 * of + n, **SAID)
    mine = (11, 12)
    done = compared(Relation.SAME_AUDIO)
    sides = replace(done.comparison, ours=mine, theirs=(21, 22))
    found = match(made.card(1), made.card(2), {(mine, (21, 22)): sides})
    assert [(a.relation, a.others) for a in found.primaries] == [
        (Relation.SAME_AUDIO, (21,)),
        (Relation.SAME_AUDIO, (22,)),
    ]


# -- two backup cards


def damaged(track: int) -> list[Line]:
    lines = list(LINES)
    lines[track] = (*lines[track][:9], lines[track][9] ^ 512, *lines[track][10:])
    return lines


def two_backups(first: list[Line], second: list[Line]) -> Cards:
    made = pair(first)
    made.add(2, "Z.WAV", second, TEN, tracks=TRACKS, number=3)
    object.__setattr__(made.files[3], "load", 3)
    return made


def test_two_damaged_copies_are_not_made_into_one_whole() -> None:
    """Each card's file has one track gone wrong: neither is a backup of all of it, and both say."""
    made = two_backups(damaged(0), damaged(1))
    backups = [*made.card(2), *made.card(3)]
    known: dict[Any, Any] = {}
    for _ in range(3):
        found = match(made.card(1), backups, known)
        known |= {sides: made.compare(*sides) for sides in found.uncompared}
    assert relations(found, [1]) == [Relation.DIFFERENT]
    assert {answer.relation for answer in found.backups} == {Relation.DIFFERENT}


def test_a_whole_copy_answers_before_a_damaged_one() -> None:
    """The part that holds most of it, whichever card comes first."""
    for lines in ((damaged(0), list(LINES)), (list(LINES), damaged(0))):
        made = two_backups(*lines)
        found = match(made.card(1), [*made.card(2), *made.card(3)])
        (answer,) = found.primaries
        whole = 2 if lines[0] == list(LINES) else 3
        assert (answer.relation in (Relation.IDENTICAL, Relation.SAME_AUDIO), answer.others) == (
            True,
            (whole,),
        )


def test_two_cards_with_half_the_tracks_each_answer_together() -> None:
    made = two_backups(LINES[:1], LINES[1:])
    found = match(made.card(1), [*made.card(2), *made.card(3)])
    assert relations(found, [1]) == [Relation.OTHER_LAYOUT]
    assert found.uncompared == ()


# -- which of the two is better


def test_a_primary_of_fewer_bits_is_said_to_be_the_lower_one() -> None:
    made = Cards()
    made.add(1, "T.WAV", LINES, TEN, 16, number=1)
    made.add(2, "T.WAV", LINES, TEN, 24, number=2)
    (one,) = about_backup(facts_of(made, compared(Relation.REDUCED, residual_db=-62.8)))
    assert (one.code, one.severity) == ("primary-reduced", Severity.LOOK)
    assert one.says == (
        "SND_A1/T.WAV: the backup holds it at a higher quality than this file: what differs lies "
        "62.8 dB below it."
    )
    assert "better" in one.do


def test_of_as_many_bits_neither_is_said_to_be_the_lower_one() -> None:
    made = pair([LINES[2], LINES[1], LINES[0][::-1]])
    (one,) = about_backup(facts_of(made, compared(Relation.REDUCED, residual_db=-62.8)))
    assert (one.code, "at another quality:" in one.says) == ("backup-reduced", True)


@pytest.mark.parametrize(("above", "alike"), [(40.2, -0.0016), (0.0, None)])
def test_what_is_quieter_than_the_last_bit_is_not_shown(above: float, alike: float | None) -> None:
    done = compared(Relation.REDUCED, residual_db=above, correlation=alike)
    (one,) = about_backup(facts_of(pair(LINES, bits=16), done))
    assert "the backup has too few bits for it, which is quieter than the last" in one.says
    assert f"{above:.1f} dB above it" in one.says
    assert one.do.startswith("Listen to both.")


def floats(number: int, lines: list[list[float]]) -> Recording:
    """A float file of these samples, full scale 1.0."""
    made = WaveFormat(3, len(lines), HZ, 32, 4 * len(lines))
    raw = b"".join(pack("<f", value) for frame in zip(*lines, strict=True) for value in frame)
    meter = AudioMeter(Span(0, len(raw)), made, TEN)
    meter.feed(memoryview(raw), 0)
    base = recording(number, b"T.WAV", of=1, audio=raw, head=b"float")
    said = Metadata(time_reference=TEN)
    about = Description(Kind.WAVE, made, Span(0, len(raw)), len(lines[0]), said)
    return replace(
        base, description=about, readings=(base.readings[0]._replace(sound=meter.sound()),)
    )


def over_full_scale(peaks: tuple[float, float], **figures: Any) -> Finding:
    made = Cards()
    made.add(2, "T.WAV", LINES[:2], TEN, number=2)
    made.files[1] = floats(1, [[0.25] * 43 + [peak] for peak in peaks])
    found = about_backup(facts_of(made, compared(Relation.REDUCED, residual_db=-136, **figures)))
    return next(x for x in found if x.code in ("backup-reduced", "backup-partial"))


def test_peaks_that_the_backup_cuts_off_are_told_with_the_figure() -> None:
    """20 log10(8) is 18.06 dB."""
    assert math.isclose(20 * math.log10(8), 18.06, abs_tol=0.01)
    says = over_full_scale((0.5, -8.0)).says
    assert says.endswith("; peaks of up to 18.1 dB over full scale are cut off in it.")


def test_peaks_of_tracks_that_have_no_backup_are_not_cut_off() -> None:
    assert "peaks" not in over_full_scale((0.5, -8.0), channels=(2,)).says
    assert "peaks" not in over_full_scale((0.5, 1.0)).says
