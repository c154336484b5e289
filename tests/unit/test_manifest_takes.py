"""The takes in the manifest, and what of a set's account a lost catalogue gets back from it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

from planworld import DAY, NOON, cards, ledger, revised, settings, taken, target, unread
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, basis, document, revision
from takehold.decide.rebuild_file import metadata_in
from takehold.formats.canonical import canonical
from takehold.formats.manifest_doc import read_manifest
from takehold.model.recording import Recording
from takehold.model.settings import Settings
from takeworld import HZ, MORNING, monos, names, wav

SCHEMA = Path(__file__).parents[2] / "docs" / "manifest.schema.json"
VALID = Draft202012Validator(json.loads(SCHEMA.read_text("utf-8")))
SET = monos(1, "12A", "3", MORNING, "Boom", "Lav", tape="D7")
POLY = wav(5, b"\xff.WAV", "1", "2", MORNING + 60 * HZ, channels=2, circled=True, note="plane",
           tracks=names("Mix", "Boom"))  # fmt: skip
AGAIN = wav(6, b"x_rerec.wav", "12A", "3", MORNING)


def written(*recordings: Recording, made: Settings | None = None) -> dict[str, Any]:
    """The day's document, valid by its published schema (PyPI jsonschema, draft 2020-12)."""
    known, using = ledger(cards(), taken(*recordings)), made or settings()
    judged = judge(known, DAY, using)
    doc = document(judged, known, using, (target(),), Writer("cart", "takehold 0"))
    raw = canonical(revision(doc, 2, NOON, revised()))
    assert [e.message for e in VALID.iter_errors(json.loads(raw))] == []
    assert read_manifest(raw).refused == ()
    return doc


def test_each_take_names_its_files_part_after_part():
    assert written(*SET, POLY, AGAIN)["takes"] == [
        {
            "load": 1,
            "scene": "12A",
            "take": "3",
            "tape": "D7",
            "start_timecode": "09:00:00:00",
            "frames": 10 * HZ,
            "sample_rate": HZ,
            "parts": [[{"path": "12A-T3_1.wav"}, {"path": "12A-T3_2.wav"}]],
            "again": [
                {
                    "load": 1,
                    "scene": "12A",
                    "take": "3",
                    "rerecorded": True,
                    "start_timecode": "09:00:00:00",
                    "frames": 10 * HZ,
                    "sample_rate": HZ,
                    "parts": [[{"path": "x_rerec.wav"}]],
                }
            ],
        },
        {
            "load": 1,
            "scene": "1",
            "take": "2",
            "note": "plane",
            "circled": True,
            "start_timecode": "09:01:00:00",
            "frames": 10 * HZ,
            "sample_rate": HZ,
            "parts": [[{"path": "\\xff.WAV", "path_hex": "ff2e574156"}]],
        },
    ]


def test_a_take_is_listed_once_all_its_files_are():
    """Every path of a take is one of `files`: what was not read yet is in neither."""
    assert written(SET[0], unread(SET[1]))["takes"] == []
    assert "again" not in written(*SET, unread(AGAIN))["takes"][0]


def test_the_words_for_what_was_recorded_again_call_for_no_new_revision():
    """They follow from the files; a change of the config alone is no news of the day."""
    plain, other = written(*SET, AGAIN), written(*SET, AGAIN, made=settings(rerecorded=()))
    assert plain["takes"] != other["takes"]
    assert basis({**plain, "findings": []}) == basis({**other, "findings": []})


def test_what_a_set_says_of_itself_comes_back_from_the_manifest():
    """A day that held for a set that is incomplete holds again when its catalogue was lost."""
    entry = written(*SET)["files"][0]["metadata"]
    said = SET[0].description.metadata
    back = metadata_in(entry)
    assert (back.total_files, back.set_index) == (2, "01")
    silent = replace(said, timestamp_sample_rate=None, description="")
    assert replace(back, description="") == silent


def test_take_types_and_parents_are_told_and_known_again():
    """In the file's metadata and in its take; `derived` where the parent lies on the card."""
    poly = wav(5, b"P.WAV", "1", "2", MORNING, channels=2, file_uid="U", types=("NO_GOOD",))
    made = {"parent_uid": "U", "parent_name": "P.WAV", "types": ("NO_GOOD", "PICKUP")}
    split = monos(6, "1", "2", MORNING, "Mix", "Boom", **made)
    doc = written(poly, *split)
    assert [(t.get("types"), t.get("derived")) for t in doc["takes"]] == [
        (["NO_GOOD"], None),
        (["NO_GOOD", "PICKUP"], True),
    ]
    said = doc["files"][1]["metadata"]
    assert said["parent_name"] == "P.WAV"
    assert metadata_in(said) == split[0].description.metadata
