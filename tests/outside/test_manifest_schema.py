"""The published schemas against a general-purpose validator: PyPI jsonschema, draft 2020-12."""

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from manifest_example import example, file_entry
from takehold.formats.canonical import canonical
from takehold.formats.manifest_doc import ReceiptDoc, read_manifest, receipt_bytes

DOCS = Path(__file__).parents[2] / "docs"
MANIFEST = Draft202012Validator(json.loads((DOCS / "manifest.schema.json").read_text()))
RECEIPT = Draft202012Validator(json.loads((DOCS / "receipt.schema.json").read_text()))


def receipt() -> dict[str, Any]:
    """What takehold writes, parsed by the standard library."""
    doc = ReceiptDoc(
        name="2031-05-06.r1.manifest.json", sha256="ab" * 32, production="Lantern Bay",
        day="2031-05-06", revision=1, checked_at="2031-05-07T08:00:00Z", received_by="Post",
        folder="/media/shuttle", program="takehold 0.1.0", intact=1, altered=("a.wav",),
        missing=(), unknown=(), signature="confirmed", signer="SHA256:AAAA",
    )  # fmt: skip
    value: dict[str, Any] = json.loads(receipt_bytes(doc))
    return value


@pytest.mark.parametrize("validator", [MANIFEST, RECEIPT])
def test_the_schemas_are_schemas(validator: Draft202012Validator) -> None:
    Draft202012Validator.check_schema(validator.schema)


def test_full_documents_are_accepted_by_schema_and_reader() -> None:
    assert [e.message for e in MANIFEST.iter_errors(example())] == []
    assert [e.message for e in RECEIPT.iter_errors(receipt())] == []
    assert read_manifest(canonical(example())).revision == 2


@pytest.mark.parametrize(
    "counterpart",
    [
        None,
        {"relation": "missing"},
        {"relation": "unread", "load": 2, "path": "a"},
        {"relation": "identical", "load": 2, "path": "\\xff", "path_hex": "ff"},
        {"relation": "different", "load": 2, "path": "a", "first_difference_frame": 48_000},
        {"relation": "not compared yet", "load": 2, "path": "a"},
        {
            "relation": "same audio, other layout",
            "load": 2,
            "path": "a",
            "also": [{"load": 2, "path": "\\xff", "path_hex": "ff"}],
        },
        {
            "relation": "reduced",
            "load": 2,
            "path": "a",
            "channels": [3, 4],
            "residual_db": -42.5,
            "correlation": 0.99,
            "duration_difference": 1105,
        },
    ],
)
def test_every_kind_of_counterpart_is_accepted(counterpart: Any) -> None:
    assert MANIFEST.is_valid(example() | {"files": [file_entry(counterpart=counterpart)]})


def test_a_time_reference_is_a_string() -> None:
    """RFC 8785 and RFC 7493 allow integers to 2^53-1; bext's field has 64 bits."""
    for value, good in (("0", True), (str(2**64 - 1), True), (1, False), ("x", False)):
        entry = file_entry(metadata={"time_reference": value})
        assert MANIFEST.is_valid(example() | {"files": [entry]}) is good


@pytest.mark.parametrize("key", sorted(example()))
def test_a_manifest_without_a_field_is_refused(key: str) -> None:
    broken = example()
    del broken[key]
    assert not MANIFEST.is_valid(broken)


@pytest.mark.parametrize(
    "change",
    [
        {"weather": "rain"},
        {"schema": "takehold-manifest/2"},
        {"day": "2031-05-06\n"},
        {"day": "6 May"},
        {"revision": 0},
        {"revision": "1"},
        {"written_at": "2031-05-06T21:30:00+02:00"},
        {"written_at": "2031-05-06T21:30:00Z\n"},
        {"verdict": "FINE"},
        {"previous": {}},
        {"previous": {**example()["previous"], "name": "../a"}},
        {"loads": [{**example()["loads"][0], "role": "spare"}]},
        {"destinations": [{"name": "shuttle-1"}]},
        {"findings": [{**example()["findings"][0], "severity": "bad"}]},
        {"totals": {"files": 1, "recordings": 1}},
        {"reasons": [None]},
    ],
)
def test_a_broken_manifest_is_refused(change: dict[str, Any]) -> None:
    assert not MANIFEST.is_valid(example() | change)


@pytest.mark.parametrize(
    "change",
    [
        {"extra": 1},
        {"sha256": "ab" * 32 + "\n"},
        {"sha256": "AB" * 32},
        {"xxh64": "0123"},
        {"size": -1},
        {"size": True},
        {"size": 2**53},
        {"place": ""},
        {"place_hex": "f"},
        {"place_hex": "ff\n"},
        {"version": 0},
        {"current": None},
        {"mtime": "yesterday"},
        {"audio": {}},
        {"metadata": {"mood": "good"}},
        {"reads": [{"at": "2031-05-06T14:10:00Z", "from": "hope"}]},
        {"copies": [{"destination": "shuttle-1"}]},
        {"counterpart": {"relation": "similar"}},
        {"counterpart": {"relation": "short", "load": 2}},
        {"counterpart": {"relation": "identical", "missing_frames": 1}},
        {"counterpart": {"relation": "short", "first_difference_frame": 1}},
    ],
)
def test_a_broken_file_entry_is_refused(change: dict[str, Any]) -> None:
    assert not MANIFEST.is_valid(example() | {"files": [file_entry(**change)]})


@pytest.mark.parametrize(
    "change",
    [{"x": 1}, {"intact": -1}, {"signature": "good"}, {"altered": "a"}, {"manifest": {}},
     {"checked_at": "now"}, {"schema": "takehold-manifest/1"}],
)  # fmt: skip
def test_a_broken_receipt_is_refused(change: dict[str, Any]) -> None:
    assert not RECEIPT.is_valid(receipt() | change)


@pytest.mark.parametrize("key", sorted(receipt()))
def test_a_receipt_without_a_field_is_refused(key: str) -> None:
    broken = receipt()
    del broken[key]
    assert not RECEIPT.is_valid(broken)


TAKE = {
    "load": 1, "scene": "12A", "take": "3", "tape": "D07", "note": "plane", "circled": True,
    "start_timecode": "14:01:50:12", "frames": 24_000, "sample_rate": 48_000,
    "parts": [[{"path": "12A-T03.wav"}, {"path": "\\xff.wav", "path_hex": "ff2e776176"}]],
    "again": [{"load": 1, "rerecorded": True, "parts": [[{"path": "a"}], [{"path": "b"}]]}],
}  # fmt: skip


def test_takes_may_be_listed_and_may_be_absent() -> None:
    """Manifests of before have none; a reader of before ignores them."""
    assert "takes" not in example()
    assert MANIFEST.is_valid(example() | {"takes": []})
    assert MANIFEST.is_valid(example() | {"takes": [TAKE]})
    assert read_manifest(canonical(example() | {"takes": [TAKE]})).revision == 2


@pytest.mark.parametrize(
    "change",
    [
        {"parts": []},
        {"parts": [[]]},
        {"parts": [["12A-T03.wav"]]},
        {"parts": [[{"path_hex": "ff"}]]},
        {"load": "1"},
        {"circled": False},
        {"rerecorded": "yes"},
        {"frames": -1},
        {"again": [{}]},
        {"mood": "good"},
    ],
)
def test_a_broken_take_is_refused(change: dict[str, Any]) -> None:
    assert not MANIFEST.is_valid(example() | {"takes": [TAKE | change]})


def test_manifests_that_were_found_again_are_named_as_the_one_before() -> None:
    also = {"name": "2031-05-06.r1.manifest.json", "day": "2031-05-06", "revision": 1}
    good = {**also, "sha256": "ab" * 32}
    assert MANIFEST.is_valid(example() | {"also_follows": [good]})
    assert not MANIFEST.is_valid(example() | {"also_follows": [also]})
    assert not MANIFEST.is_valid(example() | {"also_follows": []})


COMPARISON = {
    "ours": [{"load": 1, "path": "12A-T03.wav"}],
    "theirs": [{"load": 2, "path": "\\xff.wav", "path_hex": "ff2e776176"}],
    "relation": "reduced",
    "at": "2031-05-06T15:00:00Z",
    "channels": [2],
    "offset": -1105,
    "residual_db": -12.5,
    "correlation": 0.93,
    "duration_difference": -2304,
}


@pytest.mark.parametrize(
    "change", [{}, {"relation": "different", "frame": 0}, {"relation": "short", "frames": 9}]
)
def test_comparisons_are_accepted_and_optional(change: dict[str, Any]) -> None:
    """Manifests of before have none."""
    assert "comparisons" not in example()
    whole = example() | {"comparisons": [COMPARISON | change]}
    assert [e.message for e in MANIFEST.iter_errors(whole)] == []
    assert read_manifest(canonical(whole)).revision == 2


@pytest.mark.parametrize(
    "change",
    [{"ours": []}, {"relation": "missing"}, {"offset": 0.5}, {"correlation": 2}, {"frame": -1}],
)
def test_a_comparison_that_is_none_is_refused(change: dict[str, Any]) -> None:
    assert not MANIFEST.is_valid(example() | {"comparisons": [COMPARISON | change]})


@pytest.mark.parametrize(
    ("header", "good"),
    [
        ({"encoding": "FLAC", "channels": 2, "sample_rate": 48_000, "bits": 24, "frames": 9}, True),
        ({"encoding": "MP3", "channels": 2, "sample_rate": 44_100}, True),
        ({"encoding": "PCM", "channels": 2, "sample_rate": 44_100}, False),
        ({"encoding": "MP3", "channels": 2}, False),
    ],
)
def test_what_a_compressed_file_says_of_itself(header: dict[str, Any], good: bool) -> None:
    entry = file_entry(audio=None, compressed=header)
    assert MANIFEST.is_valid(example() | {"files": [entry]}) is good
