"""What is said of a backup that does not hold the audio as the primary card has it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import NOON, copied, ledger, recording, settings, taken, target, trouble, view
from planworld import cards as loads
from takehold.decide.check import Around, check, verdict
from takehold.decide.confirm import second_reads
from takehold.decide.keys import compare_key
from takehold.decide.manifest_file import file_entry
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Finding, Relation, Severity, Verdict
from takehold.model.sound import Description, Kind, Track
from twocards import HZ, Cards

DRIVES = (target("shuttle-1"), target("shuttle-2"))
LINES = [tuple(range(n, 4000, 91)) for n in (1, 2, 3)]
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


def test_a_reduced_mix_is_both() -> None:
    done = compared(Relation.REDUCED, residual_db=-90, channels=(2,))
    told = {x.code for x in about_backup(facts_of(pair(LINES[:1], bits=16), done))}
    assert told == {"backup-reduced", "backup-partial"}


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
        (20, 24, "holds the beginning only; 0.001 s are missing at its end, from 10:00:00:00 on."),
        (0, 20, "holds a part only; 0.000 s are missing, from 10:00:00:00 on."),
    ],
)
def test_a_short_backup_says_where(frame: int, frames: int, says: str) -> None:
    assert len(LINES[0]) == 44
    done = compared(Relation.SHORT, frame=frame, frames=frames)
    (one,) = about_backup(facts_of(pair(LINES, bits=16), done))
    assert one.code == "backup-short"
    assert one.says.endswith(says)


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
