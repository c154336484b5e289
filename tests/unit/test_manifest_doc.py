"""Manifest and receipt, as the receiving side reads them."""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from manifest_example import example, file_entry
from takehold.formats.canonical import canonical
from takehold.formats.manifest_doc import (
    ManifestRef,
    ReceiptDoc,
    read_manifest,
    read_receipt,
    receipt_bytes,
)
from takehold.model.errors import Malformed
from takehold.model.finding import Verdict

RECEIPT = ReceiptDoc(
    name="2031-05-06.r2.manifest.json",
    sha256="cd" * 32,
    production="Lantern Bay",
    day="2031-05-06",
    revision=2,
    checked_at="2031-05-07T08:00:00Z",
    received_by="Post, second floor",
    folder="/media/shuttle",
    program="takehold 0.1.0",
    intact=2,
    altered=("SND_A01/12A-T03.wav",),
    missing=(),
    unknown=("SND_A01/\\x1b.wav", "a\\\\b"),
    signature="first use",
    signer="SHA256:AAAA",
)


def test_a_manifest_is_read() -> None:
    doc = read_manifest(canonical(example()))
    assert (doc.production, doc.day, doc.revision) == ("Lantern Bay", "2031-05-06", 2)
    assert doc.verdict is Verdict.HOLD
    assert doc.reasons == ("One recording is short on the backup card.",)
    assert doc.previous == ManifestRef(
        "2031-05-06.r1.manifest.json", "2031-05-06", 1, example()["previous"]["sha256"]
    )
    assert [f.place for f in doc.files] == [b"SND_A01/12A-T03.wav", b"SND_A01/%FF.wav"]
    assert doc.files[0].size == 144_044
    assert doc.refused == ()


def test_the_first_manifest_of_a_production_has_none_before() -> None:
    assert read_manifest(canonical(example() | {"previous": None})).previous is None


def test_what_is_added_later_is_not_in_the_way() -> None:
    assert read_manifest(canonical(example() | {"weather": "rain"})).revision == 2


@pytest.mark.parametrize(
    ("place", "as_shown"),
    [
        ("../../.ssh/authorized_keys", "../../.ssh/authorized_keys"),
        ("/etc/passwd", "/etc/passwd"),
        ("C:\\a", "C:\\\\a"),
        ("a/..\\..\\b", "a/..\\\\..\\\\b"),
        ("a//b\x1b", "a//b\\x1b"),
        ("", ""),
        ("snd_a01/12a-t03.WAV", "snd_a01/12a-t03.WAV"),
        ("SND_A01/12A-T03.wav", "SND_A01/12A-T03.wav"),
        ("x/" * 3000 + "x", "x/" * 3000 + "x"),
    ],
)
def test_a_bad_place_is_refused_and_the_others_are_checked(place: str, as_shown: str) -> None:
    """A place outside the folder, or one that meets another's in case or Unicode form."""
    raw = example()
    raw["files"].append(file_entry(place=place))
    doc = read_manifest(canonical(raw))
    assert doc.refused == (as_shown,)
    assert len(doc.files) == 2


def test_places_that_meet_by_unicode_form_are_refused() -> None:
    raw = example() | {"files": [file_entry(place="ü.wav"), file_entry(place="u\u0308.wav")]}
    doc = read_manifest(canonical(raw))
    assert [f.place for f in doc.files] == ["ü.wav".encode()]
    assert doc.refused == ("u\u0308.wav",)


def test_a_place_that_is_no_utf8_comes_from_its_hex() -> None:
    raw = example() | {"files": [file_entry(place="\\xff.wav", place_hex="ff2e776176")]}
    assert read_manifest(canonical(raw)).files[0].place == b"\xff.wav"
    raw = example() | {"files": [file_entry(place="fine.wav", place_hex="2e2e")]}
    assert read_manifest(canonical(raw)).refused == ("..",)


def broken_manifests() -> list[tuple[str, Any, str]]:
    return [
        ("schema", "takehold-manifest/2", "takehold-manifest/1"),
        ("day", "2031-02-30", "day has to be a date"),
        ("day", "2031-05-06\n", "day has to be"),
        ("day", "../../..", "day has to be"),
        ("revision", 0, "revision"),
        ("revision", True, "revision"),
        ("revision", 1.5, "revision"),
        ("written_at", "2031-05-06 07:08:09Z", "written_at"),
        ("written_at", "2031-05-06T07:08:09+00:00", "written_at"),
        ("verdict", "FINE", "one of READY, HOLD"),
        ("production", 5, "production"),
        ("production", "x" * 20_000, "production"),
        ("mixer", None, "mixer"),
        ("reasons", "none", "reasons has to be a list"),
        ("reasons", [1], "reasons"),
        ("files", {}, "files has to be a list"),
        ("files", [[]], "files entry 1"),
        ("loads", [{"id": -1}], "loads entry 1"),
        ("previous", [], "previous has to be an object"),
        ("previous", {"name": "../x", "day": "2031-05-06", "revision": 1, "sha256": "0" * 64},
         "manifest's previous is not in its form: name"),
    ]  # fmt: skip


@pytest.mark.parametrize(("key", "value", "word"), broken_manifests())
def test_a_broken_manifest_is_refused_naming_the_entry(key: str, value: Any, word: str) -> None:
    with pytest.raises(Malformed) as caught:
        read_manifest(canonical(example() | {key: value}))
    assert word in caught.value.says


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("load", 9),
        ("load", "1"),
        ("size", -1),
        ("size", "144044"),
        ("size", False),
        ("sha256", "ab"),
        ("sha256", "AB" * 32),
        ("sha256", "ab" * 32 + "\n"),
        ("xxh64", "ab" * 32),
        ("xxh64", "\u0661" * 16),
        ("current", 1),
        ("current", None),
        ("place", None),
        ("place_hex", "f"),
        ("place_hex", "zz"),
    ],
)
def test_a_broken_file_entry_is_named_by_number_and_place(key: str, value: Any) -> None:
    raw = example()
    raw["files"][1] |= {"place": "SND\x1b"} | {key: value}
    with pytest.raises(Malformed) as caught:
        read_manifest(canonical(raw))
    assert "files entry 2" in caught.value.says
    assert key in caught.value.says
    assert key == "place" or "SND\\x1b" in caught.value.says


@pytest.mark.parametrize("key", ["place", "size", "xxh64", "sha256", "current", "load"])
def test_a_file_entry_without_a_field_is_refused(key: str) -> None:
    raw = example()
    del raw["files"][0][key]
    with pytest.raises(Malformed, match=key):
        read_manifest(canonical(raw))


@pytest.mark.parametrize("read", [read_manifest, read_receipt])
@pytest.mark.parametrize("raw", [b"", b"[]", b"null", b"{}", b'{"schema":[]}', b"\xff"])
def test_what_is_no_such_document_is_refused(read: Callable[[bytes], object], raw: bytes) -> None:
    with pytest.raises(Malformed):
        read(raw)


def test_a_receipt_reads_back_and_is_canonical() -> None:
    raw = receipt_bytes(RECEIPT)
    assert read_receipt(raw) == RECEIPT
    assert canonical(json.loads(raw)) == raw


@pytest.mark.parametrize(
    "change",
    [
        {"sha256": "ab"},
        {"day": "today"},
        {"name": "a/b"},
        {"checked_at": "now"},
        {"intact": -1},
        {"signature": "good"},
        {"altered": ("a\x1bb",)},
        {"missing": ("\u202ea",)},
        {"folder": "\udcff"},
    ],
)
def test_a_receipt_that_nobody_could_read_is_not_written(change: dict[str, Any]) -> None:
    with pytest.raises(Malformed):
        receipt_bytes(replace(RECEIPT, **change))


@pytest.mark.parametrize("key", sorted(json.loads(receipt_bytes(RECEIPT))))
def test_a_receipt_without_a_field_is_refused(key: str) -> None:
    raw = json.loads(receipt_bytes(RECEIPT))
    del raw[key]
    with pytest.raises(Malformed):
        read_receipt(canonical(raw))
