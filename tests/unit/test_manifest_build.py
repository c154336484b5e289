"""The day's document: valid by its published schema, and new only when the day is.

The validator is PyPI jsonschema, draft 2020-12; the schema is docs/manifest.schema.json.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from planworld import (
    BYTE_FORMAT,
    DAY,
    HERE,
    NOON,
    SECOND,
    cards,
    copied,
    copy,
    good_day,
    ledger,
    load,
    reading,
    recording,
    revised,
    settings,
    taken,
    target,
)
from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, basis, document, revision
from takehold.decide.manifest_lists import lists
from takehold.decide.manifest_names import names_of, stamp
from takehold.formats.canonical import canonical
from takehold.formats.checksum_list import read_list
from takehold.formats.manifest_doc import read_manifest
from takehold.model import facts as f
from takehold.model.recording import Stamp
from takehold.model.settings import Settings
from takehold.model.sound import Track, WaveFormat

SCHEMA = Path(__file__).parents[2] / "docs" / "manifest.schema.json"
VALID = Draft202012Validator(json.loads(SCHEMA.read_text("utf-8")))
DRIVES = (target("shuttle-1"), target("shuttle-2"))
LONG = bytes(range(1, 251)) * 800


def written(
    *facts: Any, made: Settings | None = None, around: Around | None = None, targets: Any = DRIVES
) -> dict[str, Any]:
    """The document of these facts."""
    known, made = ledger(*facts), made or settings()
    judged = judge(known, DAY, made, around or Around())
    return document(judged, known, made, targets, Writer("cart", "takehold 0"))


def checked(doc: dict[str, Any]) -> dict[str, Any]:
    """The document as it is read back: canonical, valid, and understood by the receiving side."""
    raw = canonical(revision(doc, 2, NOON, revised()))
    value: dict[str, Any] = json.loads(raw)
    assert [e.message for e in VALID.iter_errors(value)] == []
    assert len(read_manifest(raw).files) == len(value["files"])
    assert read_manifest(raw).refused == ()
    return value


def test_a_good_day_is_a_valid_manifest() -> None:
    doc = checked(written(good_day()))
    assert (doc["verdict"], doc["reasons"], doc["findings"]) == ("READY", [], [])
    assert doc["totals"] == {"files": 2, "recordings": 2, "bytes": 8}
    assert [d["present"] for d in doc["destinations"]] == [True, True]
    assert doc["previous"] == {
        "name": f"{DAY}.r1.manifest.json",
        "day": DAY,
        "revision": 1,
        "sha256": revised().sha256,
    }


def test_an_entry_says_what_is_known_of_a_file() -> None:
    said = {
        "project": "Lantern Bay", "scene": "1A", "take": "2", "tape": "R1", "note": "wind",
        "circled": True, "file_uid": "U1", "family_uid": "F1", "time": "11:00:00",
        "time_reference": 36_000 * SECOND, "tracks": (Track(1, 1, "Boom", "X"),),
    }  # fmt: skip
    first = recording(1, said={k: v for k, v in said.items() if k != "time"})
    (entry,) = checked(written(cards(), taken(first), copied(first, DRIVES[0])))["files"]
    assert entry["metadata"] == {
        **said,
        "date": DAY,
        "time_reference": str(36_000 * SECOND),
        "timecode_rate": "25",
        "start_timecode": "10:00:00:00",
        "tracks": [{"channel": 1, "interleave": 1, "name": "Boom"}],
    }
    assert entry["copies"] == [
        {
            "destination": "shuttle-1",
            "identity": "uuid:shuttle-1",
            "path": "SND_A1/T01.WAV",
            "proven_at": "2031-05-06T12:01:00Z",
            "read_back": "medium",
            "durable": True,
        }
    ]
    assert (entry["place"], entry["path"]) == ("SND_A1/T01.WAV", "T01.WAV")
    read = {"at": "2031-05-06T12:00:00Z", "from": "medium"}
    assert entry["reads"] == [{**read, "xxh64": entry["xxh64"], "sha256": entry["sha256"]}]


def test_the_largest_time_reference_is_kept_to_its_last_digit() -> None:
    """EBU Tech 3285: TimeReference has 64 bits; a JSON number has 53 (RFC 7493)."""
    first = recording(1, said={"time_reference": 2**64 - 1})
    (entry,) = checked(written(cards(), taken(first)))["files"]
    assert entry["metadata"]["time_reference"] == "18446744073709551615"


def test_names_that_are_no_utf_8_stand_with_their_bytes() -> None:
    card = load(1, label="A\udcff", folder=b"A%FF", identity="uuid:\udcfe")
    odd = recording(1, b"\xffT\x1b.WAV", place=b"Lantern Bay/2031-05-06/A%FF/%FFT%1B.WAV")
    away = copy(odd, DRIVES[0], b"Lantern Bay/2031-05-06/A%FF/\xff.WAV")._replace(root="r\udcff")
    doc = checked(written([f.LoadSeen(card)], taken(odd), [f.Proven(away)]))
    (entry,) = doc["files"]
    assert (entry["path"], entry["path_hex"]) == ("\\xffT\\x1b.WAV", b"\xffT\x1b.WAV".hex())
    assert entry["copies"][0]["path_hex"] == b"A%FF/\xff.WAV".hex()
    assert doc["loads"][0]["label"] == "A\\xff"


def answer(first: Any, *others: Any) -> dict[str, Any]:
    """The counterpart of a first recording, in the document."""
    entry = checked(written(cards(), taken(first, *others)))["files"][0]
    found: dict[str, Any] = entry["counterpart"]
    return found


def test_each_relation_is_told_with_its_figure() -> None:
    mine = recording(1, audio=LONG)
    other = bytearray(LONG)
    other[SECOND] ^= 1
    named = {"load": 2, "path": "T01.WAV"}
    assert answer(mine, recording(2, of=2, audio=LONG)) == {"relation": "identical", **named}
    assert answer(mine, recording(2, of=2, audio=LONG, head=b"x")) == {
        "relation": "same audio",
        **named,
    }
    assert answer(mine, recording(2, of=2, audio=LONG[:SECOND])) == {
        "relation": "short",
        **named,
        "missing_frames": len(LONG) - SECOND,
        "missing_from_frame": SECOND,
    }
    assert answer(mine, recording(2, of=2, audio=bytes(other))) == {
        "relation": "different",
        **named,
        "first_difference_frame": SECOND,
    }
    assert answer(mine, recording(2, of=2, audio=LONG, read=False)) == {
        "relation": "unread",
        **named,
    }
    assert answer(mine) == {"relation": "missing"}


def test_a_counterpart_whose_name_is_no_utf_8() -> None:
    mine, its = recording(1, b"\xff", audio=LONG), recording(2, b"\xfe", of=2, audio=LONG)
    assert answer(mine, its)["path_hex"] == "fe"


def test_files_without_audio_and_of_odd_formats() -> None:
    opaque = recording(1, b"LOG.TXT", audio=None)
    headless = recording(2, b"T02.WAV")
    headless = replace(headless, description=replace(headless.description, format=None))
    odd = recording(3, b"T03.WAV")
    made = WaveFormat(tag=0xFFFE, channels=1, sample_rate=1, bits=0, block_align=1)
    odd = replace(odd, description=replace(odd.description, format=made))
    files = checked(written(cards(), taken(opaque, headless, odd)))["files"]
    assert [x["audio"] and x["audio"]["encoding"] for x in files] == [None, None, "tag 65534"]
    assert made != BYTE_FORMAT


@pytest.mark.parametrize("seconds", [-(2**62), -1, 0, 2**40, 2**62])
def test_a_file_time_of_any_age_can_be_written(seconds: int) -> None:
    """File systems hold years that RFC 3339 cannot say; a card decides what stands there (P10)."""
    old = recording(1, stamp=Stamp(4, seconds * 10**9))
    (entry,) = checked(written(cards(), taken(old)))["files"]
    assert entry["mtime"][:4] in ("1970", "9999")


def test_a_very_long_note_is_cut() -> None:
    long = recording(1, said={"note": "n" * 100_000, "tracks": (Track(1, 1, "t" * 20_000),)})
    (entry,) = checked(written(cards(), taken(long)))["files"]
    assert len(entry["metadata"]["note"]) == len(entry["metadata"]["tracks"][0]["name"]) == 16_384


def test_what_was_not_read_is_not_listed_and_is_a_reason() -> None:
    doc = checked(written(cards(), taken(recording(1, read=False))))
    assert doc["files"] == []
    assert doc["verdict"] == "HOLD"
    assert any("0 of 2 proven copies" in reason for reason in doc["reasons"])


def test_litter_skipped_entries_and_decisions_are_told() -> None:
    listed = f.Listed(1, NOON, 1, (("._*", 2),), (f.Skip(b"l\xff", "a symbolic link"),))
    known = ledger(good_day(), [listed])
    (look,) = [x for x in judge(known, DAY, settings()).findings if x.code == "entry-skipped"]
    doc = checked(written(good_day(), [listed, f.Acked(look.id, "holds nothing", NOON)]))
    assert doc["loads"][0]["litter"] == [{"name": "._*", "count": 2}]
    assert doc["loads"][0]["skipped"] == [{"path": "l\\xff", "why": "a symbolic link"}]
    (told,) = [x for x in doc["findings"] if x["code"] == "entry-skipped"]
    assert told["decision"] == {"note": "holds nothing", "at": stamp(NOON)}
    assert doc["verdict"] == "READY"


# -- the basis: when is there something new to say?

GOOD = basis(written(good_day()))


def proven_again() -> list[f.Fact]:
    return [
        x._replace(copy=x.copy._replace(proof=x.copy.proof._replace(at=NOON + 9_999)))
        if isinstance(x, f.Proven)
        else x
        for x in good_day()
    ]


def test_a_later_proof_is_nothing_new() -> None:
    assert basis(written(proven_again())) == GOOD


def test_another_program_or_a_drive_that_is_away_is_nothing_new() -> None:
    away = written(good_day(), targets=(), around=Around(absent=("shuttle-1",)))
    assert basis(away) == GOOD
    assert basis(away | {"program": "takehold 9"}) == GOOD


def test_a_drive_that_is_away_is_nothing_new_on_a_day_that_is_held_anyway() -> None:
    facts = [*cards(), *taken(recording(1)), *copied(recording(1), DRIVES[0])]
    held = written(facts)
    absent = written(facts, around=Around(absent=("shuttle-2",)))
    assert "destination-absent" in {x["code"] for x in absent["findings"]}
    assert basis(absent) == basis(held)


@pytest.mark.parametrize(
    "facts",
    [
        taken(recording(9, b"T09.WAV")),
        [f.WasRead(1, reading(b"one"))],
        copied(recording(1), target("raid")),
        [f.Broken(1, "shuttle-1", "uuid:shuttle-1", recording(1).place, "missing", NOON)],
        [f.Listed(1, NOON, 1, (("._*", 2),), ())],
    ],
    ids=["a file", "a read", "a copy", "a lost copy", "litter"],
)
def test_a_new_fact_is_something_new(facts: list[f.Fact]) -> None:
    assert basis(written(good_day(), facts)) != GOOD


def test_a_decision_is_something_new() -> None:
    skipped = f.Listed(1, NOON, 1, (), (f.Skip(b"link", "a symbolic link"),))
    known = ledger(good_day(), [skipped])
    (look,) = judge(known, DAY, settings()).findings
    acked = f.Acked(look.id, "fine", NOON)
    assert basis(written(good_day(), [skipped])) != basis(written(good_day(), [skipped, acked]))


def test_a_decision_on_a_drive_that_is_away_makes_the_day_ready_in_a_new_revision() -> None:
    """Else the newest manifest would say HOLD for good."""
    around = Around(absent=("raid",))
    open_day = written(good_day(), around=around)
    (look,) = judge(ledger(good_day()), DAY, settings(), around).findings
    decided = written(good_day(), [f.Acked(look.id, "left at home", NOON)], around=around)
    assert (open_day["verdict"], decided["verdict"]) == ("HOLD", "READY")
    assert basis(open_day) != basis(decided)


def test_a_revisions_number_time_and_chain_are_not_in_its_basis() -> None:
    doc = written(good_day())
    assert basis(revision(doc, 7, NOON + 7, None) | {"revision": 0}) != GOOD
    assert basis(doc) == GOOD


# -- the files of a revision


def test_the_lists_name_every_file_as_it_stands_on_one_drive_relative_to_the_day() -> None:
    first, second = recording(1), recording(2, of=2)
    moved = copy(second, DRIVES[0], b"Lantern Bay/2031-05-06/SND_B1/T01.other-2.WAV")
    facts = [*cards(), *taken(first, second), *copied(first, *DRIVES), f.Proven(moved)]
    known = ledger(facts)
    doc = written(facts)
    folder = b"Lantern Bay/2031-05-06/"
    sha, xxh = lists(doc, known, folder, "uuid:shuttle-1")
    assert first.digests is not None
    assert read_list(sha) == (
        (first.digests.sha256, b"SND_A1/T01.WAV"),
        (first.digests.sha256, b"SND_B1/T01.other-2.WAV"),
    )
    assert [name for _, name in read_list(xxh)] == [b"SND_A1/T01.WAV", b"SND_B1/T01.other-2.WAV"]
    for lacks in ("uuid:shuttle-2", "uuid:elsewhere"):
        names = [name for _, name in read_list(lists(doc, known, folder, lacks)[0])]
        assert names == [b"SND_A1/T01.WAV", b"SND_B1/T01.WAV"], "by its place, told as not there"


def test_the_lists_of_a_revision_are_those_of_its_manifest_whatever_came_since() -> None:
    """A take was edited since, and the drive came after that: what the day has now is another's."""
    facts = [*cards(), *taken(recording(1))]
    doc, folder = written(facts), b"Lantern Bay/2031-05-06/"
    edited = recording(2, version=2, place=folder + b"SND_A1/T01.edit-2.WAV")
    sha, _ = lists(doc, ledger(facts, taken(edited)), folder, "uuid:shuttle-2")
    assert [name for _, name in read_list(sha)] == [b"SND_A1/T01.WAV"]


def test_a_revisions_files_are_named_as_the_design_says() -> None:
    assert names_of(DAY, 3) == {
        "manifest": "2031-05-06.r3.manifest.json",
        "signature": "2031-05-06.r3.manifest.json.sig",
        "sha256": "2031-05-06.r3.sha256",
        "xxh64": "2031-05-06.r3.xxh64",
        "signers": "2031-05-06.r3.signers",
    }


def test_moments_are_rfc_3339_in_utc() -> None:
    assert stamp(NOON) == HERE.strftime("%Y-%m-%dT%H:%M:%SZ") == "2031-05-06T12:00:00Z"


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


@given(st.binary(min_size=1, max_size=20), TEXTS, TEXTS, st.integers(0, 2**64 - 1))
def test_any_name_and_any_metadata_make_a_valid_manifest(
    name: bytes, scene: str, label: str, reference: int
) -> None:
    """Whatever a card says (P10)."""
    path = name.replace(b"/", b"_")
    odd = recording(1, path, said={"scene": scene, "time_reference": reference},
                    place=b"Lantern Bay/2031-05-06/C/x")  # fmt: skip
    doc = checked(written([f.LoadSeen(load(1, label=label))], taken(odd)))
    assert bytes.fromhex(doc["files"][0].get("path_hex", "")) or doc["files"][0]["path"]
