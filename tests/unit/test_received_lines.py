"""cli/received and cli/receive: what the DIT reads, and what is not said without a proof."""

from __future__ import annotations

import json
import os
from time import process_time

import pytest

from received_folder import CONTENT, DAY, copied, document, entry, key_at, made, publish, put
from takehold.cli.receive import receive
from takehold.cli.received import midway

REASON = "SND_A1/T01.WAV: no backup. A decision is wanted: takehold ack 0a1b2c3d"


@pytest.fixture
def signer(tmp_path):
    (tmp_path / "keys").mkdir()
    return key_at(tmp_path / "keys")


@pytest.fixture
def day(tmp_path):
    folder = tmp_path / "drive" / "Lantern Bay" / DAY
    folder.mkdir(parents=True)
    return folder


@pytest.fixture
def said(tmp_path, monkeypatch, capsys):
    """Runs `takehold receive` in a folder of post's own; its status and what it printed."""
    (tmp_path / "post").mkdir()
    monkeypatch.chdir(tmp_path / "post")

    def go(folder, key=None, *, as_json=False):
        status = receive(
            str(folder),
            key=key,
            sign_with=None,
            received_by="",
            receipt_to=None,
            as_json=as_json,
        )
        out = capsys.readouterr().out
        return status, json.loads(out) if as_json else out

    return go


def test_hold_is_the_last_word_though_everything_arrived(day, signer, said):
    """The status is by the files; the sentence names the mixer's verdict."""
    made(day, signer, verdict="HOLD", reasons=[REASON])
    status, out = said(day, signer.fingerprint())
    assert status == 0
    says = "signed by the key you gave, but the mixer's verdict is HOLD."
    assert says in out
    status, out = said(day)
    assert "with the mixer by phone. The mixer's verdict is HOLD." in out


def test_hold_is_named_for_the_day_it_is_of(day, signer, said):
    made(day, signer, verdict="HOLD", reasons=[REASON])
    made(day.parent / "2031-05-07", signer, day="2031-05-07", verdict="READY", reasons=[])
    _, out = said(day.parent, signer.fingerprint())
    says = f"signed by the key you gave, but the mixer's verdict is HOLD for {DAY}."
    assert f"all 2 days, {says}" in out


def test_advice_for_the_mixer_is_not_shown_to_the_dit(day, signer, said):
    made(day, signer, verdict="HOLD", reasons=[REASON])
    _, out = said(day)
    assert "SND_A1/T01.WAV: no backup. The mixer has not decided on it yet." in out
    assert "takehold ack" not in out


@pytest.mark.parametrize(
    "reason",
    ["a" * 16_000, ": takehold ack " + "a" * 16_000 + "!", ": takehold ack a" * 1_000 + "!"],
    ids=["letters", "one id", "many"],
)
def test_many_long_reasons_are_told_at_once(day, signer, said, reason):
    """They are texts from outside: none may take longer than to read it."""
    made(day, signer, verdict="HOLD", reasons=[f"{n} {reason}" for n in range(100)])
    before = process_time()
    _, out = said(day)
    assert reason in out
    assert process_time() - before < 3


@pytest.mark.parametrize("how", ["changed", "unsigned"])
def test_no_verdict_is_shown_that_nobody_signed(day, signer, said, how):
    """Anyone may have written READY there."""
    names = made(day, signer, verdict="HOLD", reasons=[REASON])
    if how == "unsigned":
        names["signature"].unlink()
    raw = names["manifest"].read_bytes().replace(b'"HOLD"', b'"READY"')
    names["manifest"].write_bytes(raw)
    status, out = said(day)
    assert status == 1
    assert "READY" not in out
    assert "the mixer's verdict: not known" in out
    _, told = said(day, as_json=True)
    assert (told["days"][0]["verdict"], told["days"][0]["reasons"]) == (None, None)


def test_a_bad_signature_is_told_in_one_sentence(day, signer, said):
    names = made(day, signer)
    names["manifest"].write_bytes(names["manifest"].read_bytes() + b" ")
    _, out = said(day)
    [line] = [line for line in out.splitlines() if line.startswith("  signature: bad, ")]
    assert line.split(", ")[1][0].islower()


@pytest.mark.parametrize("where", ["inside", "link", "fingerprint", "beside"])
def test_a_key_out_of_the_checked_folder_proves_nothing(day, signer, said, tmp_path, where):
    """It came with the drive, as the files did: first use, with the reason; others confirm."""
    made(day, signer)
    key = day / f"{DAY}.r1.signers"
    if where == "link":
        (tmp_path / "link").symlink_to(key)
    chosen = {
        "inside": str(key),
        "link": str(tmp_path / "link"),
        "fingerprint": signer.fingerprint(),
        "beside": str(tmp_path / "keys" / "key.pub"),
    }[where]
    _, out = said(day, chosen)
    counts = where in ("fingerprint", "beside")
    assert ("signature: confirmed" in out) is counts
    assert ("UNCONFIRMED" in out) is not counts
    assert ("The key file lies in the folder that is checked" in out) is not counts
    _, told = said(day, chosen, as_json=True)
    assert (told["key_note"] is None) is counts
    assert told["receipts"][0]["signature"] == ("confirmed" if counts else "first use")


def test_a_stranger_under_a_recordings_name_is_named_as_one(day, signer, said):
    """The true copy stands beside it under another name."""
    other = "SND_A01/T01.other-2.wav"
    put(day, {"SND_A01/T01.wav": b"strange", other: b"right", "SND_A01/x.wav": b"x"})
    files = [entry("SND_A01/T01.wav", b"right", copies=copied("SND_A01/T01.wav", other))]
    publish(day, document(files), signer)
    _, out = said(day)
    says = "other bytes under a recording's name; do not use it"
    assert f"  not in the manifest: SND_A01/T01.wav ({says})" in out
    assert "  not in the manifest: SND_A01/x.wav\n" in out
    _, told = said(day, as_json=True)
    assert told["days"][0]["misnamed"] == ["SND_A01/T01.wav"]


def test_a_second_file_with_the_right_bytes_is_not_called_another(day, signer, said):
    other = "SND_A01/T01.other-2.wav"
    put(day, {"SND_A01/T01.wav": b"right", other: b"right"})
    files = [entry("SND_A01/T01.wav", b"right", copies=copied("SND_A01/T01.wav", other))]
    publish(day, document(files), signer)
    _, out = said(day)
    assert f"  not in the manifest: {other}\n" in out
    assert "do not use it" not in out


def test_json_holds_the_verdict_and_what_was_perhaps_read_from_memory(day, signer, said):
    made(day, signer, verdict="HOLD", reasons=["T01: no backup."])
    _, told = said(day, as_json=True)
    [one] = told["days"]
    assert (one["verdict"], one["reasons"]) == ("HOLD", ["T01: no backup."])
    assert 0 <= one["perhaps_read_from_memory"] <= len(CONTENT)


def test_a_second_receipt_is_no_revision_by_its_name(day, signer, said):
    """And neither is a stranger where post keeps it in the day's folder."""
    made(day, signer)
    said(day)
    said(day)
    names = sorted(os.listdir())
    assert names == [f"Lantern Bay.{DAY}.r1.receipt{n}.json" for n in ("-2", "")]
    (day / names[0]).write_bytes(b"{}")
    assert "0 not in the manifest" in said(day)[1]


@pytest.mark.parametrize(
    ("says", "part"),
    [
        ("The signature is of another purpose.", "the signature is of another purpose"),
        ("A key is missing", "a key is missing"),
        ("SND_A1 is away.", "SND_A1 is away"),
        ("", ""),
    ],
)
def test_a_sentence_inside_another_one(says, part):
    assert midway(says) == part
