"""`takehold receipt`: what is taken in, what is refused, and what is said of it."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from received_folder import key_at
from takehold.cli.receipt import counts, given_file, take_in
from takehold.decide.signed import RECEIPT_NAMESPACE
from takehold.engine.requests import facts_of, receipt_text
from takehold.formats.canonical import canonical
from takehold.formats.manifest_doc import ReceiptDoc, receipt_bytes
from takehold.model.errors import (
    BadSignature,
    EvidenceError,
    Malformed,
    UsageError,
)
from takehold.model.facts import Asked, Inventoried, LoadSeen, Revised, WasRead
from takehold.model.ledger import Ledger
from takehold.model.recording import Digests, Load, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import Description, Kind

DAY = "2031-05-06"
SHA = "cd" * 32
GOOD = ReceiptDoc(
    name=f"{DAY}.r1.manifest.json",
    sha256=SHA,
    production="Lantern Bay",
    day=DAY,
    revision=1,
    checked_at="2031-05-07T08:00:00Z",
    received_by="Post, second floor",
    folder="/media/shuttle",
    program="takehold 0.1.0",
    intact=2,
    altered=(),
    missing=(),
    unknown=(),
    signature="first use",
    signer="SHA256:AAAA",
)


def recording(number: int, path: bytes, at: int, version: int = 1) -> Recording:
    read = Reading(Digests("0" * 16, "0" * 64), None, at, Seen.MEDIUM)
    described = Description(Kind.OTHER, None)
    return Recording(
        number, 1, path, Stamp(1, 1), at, DAY, b"p", version, described, readings=(read,)
    )


@pytest.fixture
def ledger():
    """Two files read at 100, a manifest written at 200."""
    known = Ledger()
    load = Load(1, "primary", Role.PRIMARY, "fs:1", "A", b"A", frozenset(), 1, DAY)
    known.apply(
        [
            LoadSeen(load),
            *(Inventoried(recording(n, b"T%d" % n, 100)) for n in (2, 3)),
            Revised(DAY, 1, GOOD.name, SHA, 200, "READY", "basis"),
        ]
    )
    return known


@pytest.fixture
def written(tmp_path):
    """Writes a receipt, signed if a key is given."""

    def write(doc: ReceiptDoc, signer=None) -> str:
        path = tmp_path / "r.receipt.json"
        path.write_bytes(receipt_bytes(doc))
        sig = Path(f"{path}.sig")
        sig.unlink(missing_ok=True)
        if signer is not None:
            sig.write_bytes(signer.sign(path.read_bytes(), RECEIPT_NAMESPACE))
        return str(path)

    return write


def test_a_signed_receipt_becomes_a_fact_with_its_own_keys_fingerprint(ledger, written, tmp_path):
    """The fact's signer is post's key, not the manifest's that the receipt speaks of."""
    signer = key_at(tmp_path)
    fact, lines = take_in(written(GOOD, signer), ledger, key=None)
    assert fact.signer == signer.fingerprint()
    assert (fact.manifest_sha256, fact.number, fact.intact) == (SHA, 1, 2)
    assert fact.at == 1_935_907_200  # coreutils: date -u -d 2031-05-07T08:00:00Z +%s
    assert fact.complete
    assert any("compare it with post by phone" in line for line in lines)
    assert "Keep the cards" in lines[-1]


def test_the_fact_survives_being_stored_as_a_command(ledger, written, tmp_path):
    fact, _ = take_in(written(GOOD, key_at(tmp_path)), ledger, key=None)
    assert facts_of(Asked(1, "receipt", receipt_text(fact), 0)) == (fact,)


def test_an_unsigned_receipt_is_taken_in_and_clears_nothing(ledger, written):
    fact, lines = take_in(written(GOOD), ledger, key=None)
    assert fact.signer == ""
    assert any("does not clear a card" in line for line in lines)


def test_a_key_counts_once_a_person_vouched_for_it(ledger, written, tmp_path):
    mine = key_at(tmp_path)
    path = written(GOOD, mine)
    unknown, lines = take_in(path, ledger, key=None)
    assert not unknown.confirmed
    assert any("nobody vouched for" in line for line in lines)
    ledger.apply([unknown])
    assert not take_in(path, ledger, key=None)[0].confirmed
    ledger.apply([take_in(path, ledger, key=mine.fingerprint())[0]])
    again, lines = take_in(path, ledger, key=None)
    assert again.confirmed
    assert any(f"as the confirmed receipt for {DAY} was" in line for line in lines)


def test_a_given_key_confirms_and_another_or_none_is_refused(ledger, written, tmp_path):
    mine, other = key_at(tmp_path), key_at(tmp_path, "other")
    path = written(GOOD, mine)
    for key in (str(tmp_path / "key.pub"), mine.fingerprint()):
        assert any("the key you gave" in line for line in take_in(path, ledger, key=key)[1])
    with pytest.raises(BadSignature, match="another key"):
        take_in(path, ledger, key=other.fingerprint())
    with pytest.raises(BadSignature, match="no signature"):
        take_in(written(GOOD), ledger, key=mine.fingerprint())


def test_another_file_is_named_as_no_receipt(ledger, tmp_path):
    """A key in the receipt's place: its name, and what to give."""
    (tmp_path / "mixer.pub").write_text("ssh-ed25519 AAAA")
    with pytest.raises(Malformed, match=r"mixer\.pub is not a receipt") as caught:
        take_in(str(tmp_path / "mixer.pub"), ledger, key=None)
    assert ".receipt.json" in caught.value.do


@pytest.mark.parametrize("old", [b'"intact":2', b"Post, second floor"])
def test_a_receipt_that_was_changed_after_signing_is_refused(ledger, written, tmp_path, old):
    path = Path(written(GOOD, key_at(tmp_path)))
    path.write_bytes(path.read_bytes().replace(old, old[:-1] + b"1"))
    with pytest.raises(BadSignature, match="not taken in"):
        take_in(str(path), ledger, key=None)


def test_a_manifests_signature_does_not_sign_a_receipt(ledger, written, tmp_path):
    """The namespace parts the two purposes."""
    signer = key_at(tmp_path)
    path = written(GOOD)
    Path(f"{path}.sig").write_bytes(signer.sign(Path(path).read_bytes(), "takehold-manifest"))
    with pytest.raises(BadSignature, match="another purpose"):
        take_in(path, ledger, key=None)


def test_converted_line_endings_are_named(ledger, written, tmp_path):
    path = Path(written(GOOD, key_at(tmp_path)))
    sig = Path(f"{path}.sig")
    sig.write_bytes(sig.read_bytes().replace(b"\n", b"\r\n"))
    with pytest.raises(BadSignature, match="line endings were changed"):
        take_in(str(path), ledger, key=None)


def test_a_receipt_for_an_unknown_manifest_is_refused(ledger, written):
    with pytest.raises(EvidenceError, match="another manifest than any"):
        take_in(written(replace(GOOD, sha256="ab" * 32)), ledger, key=None)


@pytest.mark.parametrize("change", [{"revision": 2}, {"day": "2031-05-07"}])
def test_a_receipt_that_contradicts_itself_is_refused(ledger, written, change):
    with pytest.raises(Malformed, match="contradicts"):
        take_in(written(replace(GOOD, **change)), ledger, key=None)


@pytest.mark.parametrize(
    ("intact", "altered", "missing"), [(0, (), ()), (1, (), ()), (3, (), ()), (2, ("a",), ())]
)
def test_a_receipt_that_does_not_answer_every_file_is_refused(
    ledger, written, intact, altered, missing
):
    """One that says nothing of a file would otherwise clear it."""
    doc = replace(GOOD, intact=intact, altered=altered, missing=missing)
    with pytest.raises(Malformed, match="answers"):
        take_in(written(doc), ledger, key=None)


def test_files_read_after_the_manifest_are_not_asked_of_its_receipt(ledger, written):
    ledger.apply([Inventoried(recording(4, b"T4", 300))])
    assert take_in(written(GOOD), ledger, key=None)[0].complete


def test_a_superseded_version_may_be_left_out(ledger, written):
    """T2 was read twice before the manifest: a drive that came later has the newest only."""
    ledger.apply([Inventoried(recording(5, b"T2", 150, version=2))])
    for intact in (2, 3):
        assert take_in(written(replace(GOOD, intact=intact)), ledger, key=None)[0].complete


def test_a_second_read_changes_no_count(ledger, written):
    again = Reading(Digests("0" * 16, "0" * 64), None, 500, Seen.MEDIUM)
    ledger.apply([WasRead(2, again)])
    assert take_in(written(GOOD), ledger, key=None)[0].intact == 2


def test_an_older_revisions_receipt_is_said_to_be_one(ledger, written):
    ledger.apply([Revised(DAY, 2, f"{DAY}.r2.manifest.json", "ab" * 32, 400, "READY", "b2")])
    _, lines = take_in(written(GOOD), ledger, key=None)
    assert any("the newest manifest is r2" in line for line in lines)


def test_only_a_whole_signed_receipt_for_the_newest_manifest_counts(ledger, written, tmp_path):
    """By a key that a person vouched for; each lack alone is enough not to count."""
    mine = key_at(tmp_path)
    key = mine.fingerprint()
    fact, _ = take_in(written(GOOD, mine), ledger, key=key)
    assert counts(fact, ledger)
    unsigned, _ = take_in(written(GOOD), ledger, key=None)
    assert not counts(unsigned, ledger)
    stranger, _ = take_in(written(GOOD, mine), ledger, key=None)
    assert not counts(stranger, ledger)
    doc = replace(GOOD, intact=1, missing=("T3",))
    assert not counts(take_in(written(doc, mine), ledger, key=key)[0], ledger)
    ledger.apply([Revised(DAY, 2, f"{DAY}.r2.manifest.json", "ab" * 32, 400, "READY", "b2")])
    assert not counts(fact, ledger)


def test_what_did_not_arrive_is_listed(ledger, written):
    doc = replace(GOOD, intact=0, altered=("a.wav",), missing=("b.wav",), unknown=("c",))
    fact, lines = take_in(written(doc), ledger, key=None)
    assert not fact.complete
    assert lines[1].startswith("0 files intact, ")
    _, lines = take_in(written(replace(doc, intact=1, missing=())), ledger, key=None)
    assert lines[1].startswith("1 file intact, ")
    _, lines = take_in(written(doc), ledger, key=None)
    for line in ("  altered or unreadable: a.wav", "  missing: b.wav", "  not in the manifest: c"):
        assert line in lines


def test_lines_hold_nothing_hidden(ledger, written):
    """Names of people come from outside too."""
    doc = replace(GOOD, received_by="\x1b[2J\u202eevil", signer="\x07")
    _, lines = take_in(written(doc), ledger, key=None)
    assert not [line for line in lines if not line.isprintable()]


def test_a_time_that_is_none_is_refused(ledger, written):
    with pytest.raises(Malformed, match="time"):
        take_in(written(replace(GOOD, checked_at="2031-19-39T08:00:00Z")), ledger, key=None)


def test_what_is_no_receipt_is_refused(ledger, tmp_path):
    path = tmp_path / "x.json"
    path.write_bytes(canonical({"schema": "takehold-manifest/1"}))
    with pytest.raises(Malformed, match="no receipt"):
        take_in(str(path), ledger, key=None)


def test_a_file_that_is_none_is_refused_at_once(tmp_path):
    """A pipe does not make it wait; a folder, nothing and a large file are told."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "big").write_bytes(b"12345")
    with pytest.raises(UsageError, match="no regular file"):
        given_file(str(tmp_path / "pipe"), 9)
    with pytest.raises(Exception, match=r"cannot be read|no regular file"):
        given_file(str(tmp_path), 9)
    with pytest.raises(UsageError, match="no file"):
        given_file(str(tmp_path / "none"), 9)
    with pytest.raises(Malformed, match="larger"):
        given_file(str(tmp_path / "big"), 4)
