"""What transmitters' own cards have of a take: in `takehold day`, its `--json` and the manifest."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from click.testing import CliRunner
from jsonschema import Draft202012Validator

from planworld import DAY, NOON, cards, ledger, load, settings, taken, target, unread
from takehold.cli.day import print_day
from takehold.cli.facts import Row, day_facts
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, basis, document, revision
from takehold.formats.canonical import canonical
from takehold.formats.manifest_doc import read_manifest
from takehold.model import facts as f
from takehold.model.recording import Load, Recording
from takehold.model.settings import Role
from takeworld import HOUR, HZ, MORNING, names, wav

SCHEMA = Path(__file__).parents[2] / "docs" / "manifest.schema.json"
VALID = Draft202012Validator(json.loads(SCHEMA.read_text("utf-8")))
PACK = load(3, Role.BODYPACK, source="pack-a")
TRACKS: dict[str, Any] = {"channels": 2, "tracks": names("Boom", "Keeper")}
TAKES = [
    wav(n, b"S1T%d.WAV" % n, "1", str(n), MORNING + n * 60 * HZ, **TRACKS) for n in range(1, 4)
]
# From 09:00:00 to 09:02:04: all of the first take, 4 s of the second, nothing of the third.
HELD = wav(50, b"\xff.WAV", start=MORNING, frames=124 * HZ, of=3, tracks=names("Keeper"))


def facts_of(*recordings: Recording, pack: Load = PACK) -> Row:
    known = ledger(cards(), [f.LoadSeen(pack)], taken(*recordings))
    return day_facts(judge(known, DAY, settings()), known)


def printed(facts: Row) -> list[str]:
    with CliRunner().isolation() as (stdout, *_):
        print_day(facts)
        return stdout.getvalue().decode().splitlines()


def written(*recordings: Recording) -> dict[str, Any]:
    """The day's document, valid by its published schema (PyPI jsonschema, draft 2020-12)."""
    known = ledger(cards(), [f.LoadSeen(PACK)], taken(*recordings))
    doc = document(judge(known, DAY, settings()), known, settings(), (target(),), Writer("a", "b"))
    raw = canonical(revision(doc, 1, NOON, None))
    assert [e.message for e in VALID.iter_errors(json.loads(raw))] == []
    assert read_manifest(raw).refused == ()
    return doc


def test_the_day_shows_each_take_with_its_packs():
    lines = printed(facts_of(*TAKES, HELD))
    (head,) = [line for line in lines if line.split()[:3] == ["card", "scene", "take"]]
    at = head.index("packs")
    rows = [line for line in lines if "Boom, Keeper" in line]
    assert [row[at:].split("  ")[0] for row in rows] == [
        "Keeper",
        "Keeper (partly)",
        "Keeper (not)",
    ]


def test_without_packs_there_is_no_such_column():
    lines = printed(facts_of(*TAKES))
    (head,) = [line for line in lines if line.split()[:3] == ["card", "scene", "take"]]
    assert "packs" not in head


def test_programs_get_the_timecode_and_the_files():
    facts: Any = json.loads(json.dumps(facts_of(*TAKES, HELD)))
    packs = [take["packs"] for take in facts["takes"] if take["role"] == "primary"]
    assert [[p["covers"] for p in one] for one in packs] == [["whole"], ["partly"], ["not"]]
    assert packs[1] == [
        {
            "name": "Keeper",
            "card": "PACK_1",
            "load": 3,
            "covers": "partly",
            "spans": [{"from": "09:02:00:00", "to": "09:02:04:00", "seconds": 4.0}],
            "files": ["\\xff.WAV"],
        }
    ]
    assert packs[2][0]["files"] == packs[2][0]["spans"] == packs[0][0]["spans"] == []


def test_the_manifest_says_it_too():
    takes = written(*TAKES, HELD)["takes"]
    assert [t.get("packs") for t in takes if t["load"] == 1] == [
        [
            {
                "load": 3,
                "name": "Keeper",
                "covers": "whole",
                "files": [{"load": 3, "path": "\\xff.WAV", "path_hex": "ff2e574156"}],
            }
        ],
        [
            {
                "load": 3,
                "name": "Keeper",
                "covers": "partly",
                "spans": [
                    {
                        "first_frame": 0,
                        "frames": 4 * HZ,
                        "from_timecode": "09:02:00:00",
                        "to_timecode": "09:02:04:00",
                    }
                ],
                "files": [{"load": 3, "path": "\\xff.WAV", "path_hex": "ff2e574156"}],
            }
        ],
        [{"load": 3, "name": "Keeper", "covers": "not"}],
    ]
    assert all("packs" not in t for t in takes if t["load"] == 3)
    assert all("packs" not in t for t in written(*TAKES)["takes"])


def test_files_that_the_manifest_does_not_list_are_not_named():
    """What was not read yet, and what belongs to the day before."""
    (take, *_) = written(*TAKES, unread(HELD))["takes"]
    assert take["packs"] == [{"load": 3, "name": "Keeper", "covers": "whole"}]
    early = wav(60, b"P.WAV", start=6 * HOUR - 60 * HZ, frames=4 * HOUR, of=3,
                tracks=names("Keeper"))  # fmt: skip
    (take, *_) = written(*TAKES, replace(early, day="2031-05-05"))["takes"]
    assert take["packs"] == [{"load": 3, "name": "Keeper", "covers": "whole"}]


def test_a_take_without_a_rate_tells_its_parts_in_frames():
    bare = [wav(1, b"A.WAV", "1", "1", MORNING, timecode_rate=None, **TRACKS)]
    held = wav(50, b"P.WAV", start=MORNING, frames=4 * HZ, of=3, tracks=names("Keeper"))
    (take, *_) = [t for t in written(*bare, held)["takes"] if t["load"] == 1]
    assert take["packs"][0]["spans"] == [{"first_frame": 0, "frames": 4 * HZ}]


def test_a_name_is_shown_escaped():
    odd = replace(PACK, label="\x1b[2J")
    facts = facts_of(*TAKES, replace(HELD, description=replace(
        HELD.description, metadata=replace(HELD.description.metadata, tracks=names("\x1b[1m")))),
        pack=odd)  # fmt: skip
    assert all("\x1b" not in line for line in printed(facts))


def test_what_packs_cover_alone_calls_for_no_new_revision():
    """It follows from the files, as the takes do."""
    doc = written(*TAKES, HELD)
    bare = {**doc, "takes": [{k: v for k, v in t.items() if k != "packs"} for t in doc["takes"]]}
    assert basis(doc) == basis(bare)
