"""Which manifests count, how a folder answers to one, and what is said of it."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from received_folder import (
    CONTENT,
    DAY,
    checked,
    copied,
    document,
    entry,
    key_at,
    made,
    publish,
    put,
)
from takehold.cli.receive import conclusion, in_order, receive
from takehold.decide.receive import Answer, named_manifests, outside
from takehold.decide.signed import judge_signature, trusted
from takehold.engine.receive import _most
from takehold.formats.manifest_doc import read_receipt, receipt_bytes
from takehold.model.errors import BadSignature, FileMissing, UsageError


@pytest.fixture
def signer(tmp_path):
    keys = tmp_path / "keys"
    keys.mkdir()
    return key_at(keys)


@pytest.fixture
def day(tmp_path):
    folder = tmp_path / "drive" / "Lantern Bay" / DAY
    folder.mkdir(parents=True)
    return folder


def answers(folder: Path) -> dict[str, str]:
    """Place and answer of the one day in a folder."""
    (one,) = checked(folder).days
    return {os.fsdecode(c.place): c.answer.value for c in one.compared.checked}


def test_the_newest_revision_is_that_with_the_highest_number_in_its_folder():
    """r10 is newer than r9: numbers are compared, not text."""
    names = [b"P/2031-05-06/2031-05-06.r%d.manifest.json" % n for n in (9, 10, 1)]
    (group,) = named_manifests([*names, b"P/2031-05-06/2031-05-06.r10.manifest.json.sig"])
    assert [n.number for n in group] == [10, 9, 1]
    assert group[0].folder == b"P/2031-05-06"


@pytest.mark.parametrize(
    "path",
    [
        b"2031-05-06.r0.manifest.json",
        b"2031-05-06.r01.manifest.json",
        b"2031-05-06.r1.manifest.json.bak",
        b"x2031-05-06.r1.manifest.json",
        b".Trashes/501/2031-05-06.r1.manifest.json",
        b"2031-05-06.r9999999999.manifest.json",
    ],
)
def test_other_names_are_no_manifests(path):
    assert named_manifests([path]) == ()


def test_a_whole_day_is_intact_but_its_key_unconfirmed(day, signer):
    """First use: nothing says that everything arrived intact, the fingerprint is shown."""
    made(day, signer)
    received = checked(day)
    assert set(answers(day).values()) == {"intact"}
    assert received.days[0].manifest.signed.word == "first use"
    says = conclusion(received)
    assert "unconfirmed" in says
    assert signer.fingerprint() in says
    assert "verything arrived" not in says
    assert in_order(received)


def test_a_given_key_confirms(day, signer):
    made(day, signer)
    received = checked(day, frozenset({signer.fingerprint()}))
    assert conclusion(received).startswith("Everything arrived intact: all 3 files")
    assert in_order(received)


def test_another_given_key_is_a_bad_signature(day, signer, tmp_path):
    made(day, signer)
    received = checked(day, frozenset({key_at(tmp_path, "other").fingerprint()}))
    assert received.days[0].manifest.signed.word == "bad"
    assert "NOT confirmed: a bad signature; 3 of 3" in conclusion(received)
    assert not in_order(received)


def test_altered_missing_and_strangers_are_told_apart(day, signer):
    """Same length with other bytes, another length, gone, and one that nobody named."""
    made(day, signer)
    (day / "SND_A01/T01.wav").write_bytes(b"oni" * 5000)
    (day / "SND_A01/T02.wav").unlink()
    (day / "SND_A01/n.txt").write_bytes(b"longer")
    (day / "SND_A01/T09.wav").write_bytes(b"x")
    assert answers(day) == {
        "SND_A01/T01.wav": "altered",
        "SND_A01/T02.wav": "missing",
        "SND_A01/n.txt": "altered",
    }
    received = checked(day)
    receipt = received.days[0].receipt
    assert (receipt.intact, receipt.missing) == (0, ("SND_A01/T02.wav",))
    assert receipt.altered == ("SND_A01/T01.wav", "SND_A01/n.txt")
    assert receipt.unknown == ("SND_A01/T09.wav",)
    says = conclusion(received)
    assert "2 altered, 1 missing, 1 not in the manifest; 0 of 3" in says
    assert "verything" not in says


def test_both_checksums_count(day, signer):
    """A right SHA-256 beside a wrong XXH64 is not intact."""
    put(day, CONTENT)
    files = [entry(p, c) for p, c in CONTENT.items()]
    files[0]["xxh64"] = "0" * 16
    publish(day, document(files), signer)
    assert answers(day)["SND_A01/T01.wav"] == "altered"


def test_what_lies_beside_by_right_is_no_stranger(day, signer):
    """Lists, reports, earlier revisions, receipts, litter; an unfinished copy is named."""
    names = made(day, signer)
    for name in ("r1.html", "r2.sound-report.csv", "r1.sound-report.pdf", "r1.xxh64"):
        (day / f"{DAY}.{name}").write_bytes(b"x")
    (day / f"Lantern Bay.{DAY}.r1.receipt.json").write_bytes(b"x")
    (day / ".DS_Store").write_bytes(b"x")
    (day / "SND_A01/._T01.wav").write_bytes(b"x")
    (day / "SND_A01/.takehold-0123456789abcdef.part").write_bytes(b"x")
    (one,) = checked(day).days
    assert one.compared.strangers == ()
    assert one.compared.unfinished == ("SND_A01/.takehold-0123456789abcdef.part",)
    assert names["manifest"].exists()


@pytest.mark.parametrize(
    "name",
    [f"SND_A01/{DAY}.r1.html", "2031-05-07.r1.html", f"{DAY}.r1.html.exe", ".Trashes/T01.wav"],
)
def test_names_like_ours_in_other_places_are_strangers(day, signer, name):
    made(day, signer)
    put(day, {name: b"x"})
    assert checked(day).days[0].compared.strangers == (name,)


def test_a_file_may_stand_under_the_name_of_a_copy(day, signer):
    """The drive had the name in use: the foreign file is a stranger, the copy intact."""
    other = "SND_A01/T01.other-2.wav"
    put(day, {"SND_A01/T01.wav": b"foreign", other: b"right"})
    files = [entry("SND_A01/T01.wav", b"right", copies=copied("SND_A01/T01.wav", other))]
    publish(day, document(files), signer)
    (one,) = checked(day).days
    assert [c.answer for c in one.compared.checked] == [Answer.INTACT]
    assert one.compared.strangers == ("SND_A01/T01.wav",)


def test_one_file_answers_for_one_entry(day, signer):
    """Two entries of the same bytes, one of them lost: its twin's file does not stand in for it."""
    put(day, {"A/T01.wav": b"same"})
    files = [
        entry("B/T01.wav", b"same", copies=copied("B/T01.wav", "A/T01.wav")),
        entry("A/T01.wav", b"same"),
    ]
    publish(day, document(files), signer)
    assert answers(day) == {"B/T01.wav": "missing", "A/T01.wav": "intact"}


def test_another_unicode_form_of_a_name_is_that_name(day, signer):
    """Some file systems and shares store names decomposed (Unicode, NFD)."""
    put(day, {"A/u\u0308.wav": b"x"})
    publish(day, document([entry("A/\u00fc.wav", b"x")]), signer)
    assert answers(day) == {"A/\u00fc.wav": "intact"}
    assert checked(day).days[0].compared.strangers == ()


@pytest.mark.parametrize(
    ("copies", "listed", "expected"),
    [
        ([], False, {}),
        (copied("T.wav"), False, {}),
        (copied("T.wav"), True, {"T.wav": "missing"}),
        (copied("T.wav"), None, {"T.wav": "missing"}),
    ],
)
def test_a_superseded_version_is_expected_where_it_was_copied(
    day, signer, copies, listed, expected
):
    """The folder's own list says whether this drive had it; without a list it is missed."""
    files = [entry("T.wav", b"old", current=False, copies=copies), entry("T.edit-2.wav", b"new")]
    put(day, {"T.edit-2.wav": b"new"})
    names = publish(day, document(files), signer)
    if listed is None:
        names["sha256"].unlink()
    elif not listed:
        lines = names["sha256"].read_bytes().splitlines(keepends=True)
        names["sha256"].write_bytes(b"".join(x for x in lines if b"  T.wav" not in x))
    assert answers(day) == {"T.edit-2.wav": "intact"} | expected


def test_a_superseded_version_that_is_there_is_read(day, signer):
    put(day, {"T.wav": b"odd", "T.edit-2.wav": b"new"})
    files = [entry("T.wav", b"old", current=False), entry("T.edit-2.wav", b"new")]
    publish(day, document(files), signer)
    assert answers(day) == {"T.wav": "altered", "T.edit-2.wav": "intact"}


def test_a_manifest_without_files_confirms_nothing(day, signer):
    publish(day, document([]), signer)
    received = checked(day, frozenset({signer.fingerprint()}))
    assert "the manifest names no file" in conclusion(received)
    assert not in_order(received)


def test_a_drive_with_several_days_is_answered_day_by_day(day, signer):
    """Each day's newest revision; files in no production are counted only."""
    made(day, signer)
    made(day, signer, revision=2)
    second = day.parent / "2031-05-07"
    made(second, signer, day="2031-05-07")
    (day.parents[1] / "slates.mov").write_bytes(b"x")
    received = checked(day.parents[1])
    assert [d.receipt.name for d in received.days] == [
        "2031-05-06.r2.manifest.json",
        "2031-05-07.r1.manifest.json",
    ]
    assert received.outside.elsewhere == 1
    assert in_order(received)
    assert "All 2 days match" in conclusion(received)
    (second / "SND_A01/T01.wav").unlink()
    says = conclusion(checked(day.parents[1]))
    assert says.startswith("NOT confirmed as a whole: days with faults: 2031-05-07")


def test_a_day_without_a_manifest_is_not_passed_over(day, signer):
    """A production's folder holds another day that nobody signed for."""
    made(day, signer)
    put(day.parent, {"2031-05-07/SND_A02/T01.wav": b"x"})
    received = checked(day.parent)
    assert received.outside.beside == (b"2031-05-07/SND_A02/T01.wav",)
    assert not in_order(received)
    assert "1 files beside the days' folders" in conclusion(received)


def test_an_older_revision_elsewhere_is_said_to_be_unchecked(day, signer):
    made(day, signer)
    made(day.parents[1] / "old" / DAY, signer)
    made(day, signer, revision=2)
    received = checked(day.parents[1])
    assert [d.manifest.named.folder for d in received.days] == [b"Lantern Bay/" + DAY.encode()]
    assert received.older == (b"old/2031-05-06/2031-05-06.r1.manifest.json",)
    assert not in_order(received)


def test_a_newest_manifest_that_is_damaged_is_said_and_the_one_before_is_checked(day, signer):
    made(day, signer)
    (day / f"{DAY}.r2.manifest.json").write_bytes(b"{")
    received = checked(day)
    assert received.days[0].receipt.revision == 1
    assert [path for path, _ in received.unread] == [b"2031-05-06.r2.manifest.json"]
    assert not in_order(received)
    assert "1 manifests that cannot be read" in conclusion(received)


def test_a_manifest_under_another_ones_name_is_not_believed(day, signer):
    names = made(day, signer)
    (day / f"{DAY}.r3.manifest.json").write_bytes(names["manifest"].read_bytes())
    assert "its name says something else" in checked(day).unread[0][1]


def test_no_manifest_at_all_is_an_error(day):
    with pytest.raises(FileMissing, match="No manifest"):
        checked(day)


def test_a_signers_file_that_names_another_key_is_not_first_use(day, signer, tmp_path):
    names = made(day, signer)
    other = key_at(tmp_path, "other").allowed_signers("takehold", "takehold-manifest")
    names["signers"].write_bytes(other)
    assert checked(day).days[0].manifest.signed.word == "bad"


def test_without_a_signers_file_the_signatures_own_key_is_first_use(day, signer):
    made(day, signer)["signers"].unlink()
    signed = checked(day).days[0].manifest.signed
    assert (signed.word, signed.signer) == ("first use", signer.fingerprint())


def test_a_key_file_may_be_signers_or_public_keys(signer, tmp_path):
    line = signer.public_line().encode()
    for raw in (line, line + b" me@cart\r\n", signer.allowed_signers("p", "takehold-manifest")):
        assert trusted(raw, "takehold-manifest") == {signer.fingerprint()}
    with pytest.raises(BadSignature):
        trusted(signer.allowed_signers("p", "other"), "takehold-manifest")
    with pytest.raises(BadSignature):
        trusted((tmp_path / "keys" / "key").read_bytes(), "takehold-manifest")


def test_no_signature_and_a_foreign_namespace_are_told_apart(signer):
    assert judge_signature(b"m", None, "a", None).word == "none"
    judged = judge_signature(b"m", signer.sign(b"m", "b"), "a", None)
    assert (judged.word, judged.signer) == ("bad", "")
    assert "another purpose" in judged.says


def test_outside_of_a_days_own_folder_there_is_nothing():
    assert outside([b""], [b"x", b"y/z"]) == outside([b""], [])


# The command.


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Runs `takehold receive` in a folder of post's own."""
    home = tmp_path / "post"
    home.mkdir()
    monkeypatch.chdir(home)

    def go(folder: Path, **options):
        plain = {
            "key": None,
            "sign_with": None,
            "received_by": "A. Receiver",
            "receipt_to": None,
            "as_json": False,
        }
        return receive(str(folder), **(plain | options))

    return go


def test_the_command_writes_a_signed_receipt_that_ssh_keygens_form_fits(
    run, day, signer, tmp_path, capsys
):
    """Receipt and signature lie in the current folder; nothing is added to the folder checked."""
    made(day, signer)
    before = sorted(day.rglob("*"))
    key_at(tmp_path, "mine")
    status = run(day, key=str(tmp_path / "keys/key.pub"), sign_with=str(tmp_path / "mine"))
    out = capsys.readouterr().out
    assert status == 0
    assert "Everything arrived intact" in out
    assert "Keep the cards" in out
    path = tmp_path / "post" / f"Lantern Bay.{DAY}.r1.receipt.json"
    receipt = read_receipt(path.read_bytes())
    assert (receipt.signature, receipt.intact) == ("confirmed", 3)
    assert receipt.folder == str(day)
    signed = judge_signature(
        path.read_bytes(), Path(f"{path}.sig").read_bytes(), "takehold-receipt", None
    )
    assert signed.word == "first use"
    assert sorted(day.rglob("*")) == before


def test_a_receipt_is_never_overwritten(run, day, signer, tmp_path):
    made(day, signer)
    (tmp_path / "post" / f"Lantern Bay.{DAY}.r1.receipt.json").write_bytes(b"mine")
    assert run(day) == 0
    assert sorted(p.name for p in (tmp_path / "post").iterdir()) == [
        f"Lantern Bay.{DAY}.r1.receipt-2.json",
        f"Lantern Bay.{DAY}.r1.receipt.json",
    ]
    assert (tmp_path / "post" / f"Lantern Bay.{DAY}.r1.receipt.json").read_bytes() == b"mine"


def test_json_holds_the_receipts_and_the_conclusion(run, day, signer, capsys):
    made(day, signer)
    (day / "SND_A01/T02.wav").unlink()
    assert run(day, as_json=True) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["receipts"][0]["missing"] == ["SND_A01/T02.wav"]
    assert "NOT confirmed" in told["conclusion"]
    assert Path(told["written"][0]).exists()


def test_a_link_as_folder_is_refused_with_the_real_folder(run, day, tmp_path):
    """Also with a `/` at its end, which would lead through it."""
    (tmp_path / "link").symlink_to(day)
    for name in ("link", "link/"):
        with pytest.raises(UsageError, match="is a link") as caught:
            run(f"{tmp_path}/{name}")
        assert str(day) in caught.value.do


def test_receipts_do_not_go_into_the_checked_folder_unasked(
    run, day, signer, monkeypatch, tmp_path
):
    made(day, signer)
    monkeypatch.chdir(day / "SND_A01")
    with pytest.raises(UsageError, match="unasked"):
        run(day)
    assert run(day, receipt_to=str(day)) == 0
    assert (day / f"Lantern Bay.{DAY}.r1.receipt.json").exists()
    assert run(day, receipt_to=str(tmp_path)) == 0


def test_wrong_usage_is_said_before_anything_is_read(run, day, tmp_path):
    with pytest.raises(UsageError, match="no folder"):
        run(day, receipt_to=str(tmp_path / "none"))
    with pytest.raises(UsageError, match="no file"):
        run(day, key=str(tmp_path / "none"))
    with pytest.raises(UsageError, match="no key"):
        run(day, sign_with=str(tmp_path / "none"))
    with pytest.raises(UsageError, match="43 characters"):
        run(day, key="SHA256:abc")
    with pytest.raises(UsageError, match="no folder"):
        run(tmp_path / "none")


def test_a_fingerprint_serves_as_key(run, day, signer, capsys):
    made(day, signer)
    assert run(day, key=signer.fingerprint()) == 0
    assert "Everything arrived intact" in capsys.readouterr().out


def test_a_receipt_of_a_hundred_thousand_strangers_stays_readable(day, signer):
    """Beyond 10,000 they are counted."""
    made(day, signer)
    (one,) = checked(day).days
    names = _most(tuple(f"x{n}" for n in range(100_000)))
    assert names[-1] == "and 90000 more"
    assert read_receipt(receipt_bytes(one.receipt)) == one.receipt
