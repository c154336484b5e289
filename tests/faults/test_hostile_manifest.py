"""A drive whose manifest was made to do harm: nothing is opened outside, nothing is believed."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

import takehold.engine.receive as engine
from fakedisk import FakeDisk
from received_folder import (
    DAY,
    Quiet,
    checked,
    copied,
    document,
    entry,
    key_at,
    made,
    publish,
    put,
)
from takehold.adapters.clock import SystemClock
from takehold.cli.receive import conclusion, in_order, receive
from takehold.formats.names import is_shown
from takehold.model.errors import VolumeGone, WorldError

BAD_PLACES = [
    "../secret.wav",
    "A/../../secret.wav",
    "/etc/hostname",
    "C:secret.wav",
    "C:\\secret.wav",
    "A\\..\\..\\secret.wav",
    "A//b.wav",
    "./a.wav",
    "a\0.wav",
    "",
    ".",
]


@pytest.fixture
def signer(tmp_path):
    return key_at(tmp_path)


@pytest.fixture
def day(tmp_path):
    folder = tmp_path / "drive" / DAY
    folder.mkdir(parents=True)
    (folder.parent / "secret.wav").write_bytes(b"secret")
    return folder


def verdict(folder: Path):
    """The one day of a folder."""
    (one,) = checked(folder).days
    return one


@pytest.mark.parametrize("place", BAD_PLACES)
@pytest.mark.parametrize("of", ["place", "copy"])
def test_a_path_that_leaves_the_folder_is_never_opened(day, signer, place, of):
    """As a place and as a copy's path; the neighbour is still checked, the day not confirmed."""
    put(day, {"good.wav": b"good"})
    if of == "place":
        bad = entry(place, b"secret", copies=[])
    else:
        bad = entry("x.wav", b"secret", copies=copied(place))
    publish(day, document([bad, entry("good.wav", b"good")]), signer)
    one = verdict(day)
    assert len(one.manifest.doc.refused) == 1
    assert one.receipt.intact == 1
    assert len(one.receipt.altered) == 1
    received = checked(day, frozenset({signer.fingerprint()}))
    assert "1 named in the manifest in a way that is not opened" in conclusion(received)
    assert not in_order(received)


@pytest.mark.parametrize("place", ["%2e%2e/secret.wav", "%2e%2e%2fsecret.wav", "..%2fsecret.wav"])
def test_percent_signs_are_never_decoded(day, signer, place):
    """They are plain names: what they would lead to is not there."""
    publish(day, document([entry(place, b"secret")]), signer)
    assert verdict(day).receipt.missing == (place,)


def test_links_are_not_followed(day, signer, tmp_path):
    """A link in a file's place, a link as a folder above one, a link to a folder beside."""
    put(tmp_path / "else", {"T01.wav": b"x"})
    (day / "T01.wav").symlink_to(tmp_path / "else/T01.wav")
    (day / "CARD").symlink_to(tmp_path / "else")
    (day / "more").symlink_to(tmp_path / "else")
    publish(day, document([entry("T01.wav", b"x"), entry("CARD/T01.wav", b"x")]), signer)
    one = verdict(day)
    assert [c.answer.value for c in one.compared.checked] == ["unreadable", "unreadable"]
    assert one.receipt.altered == ("T01.wav", "CARD/T01.wav")
    assert one.compared.strangers == ("more (link)",)


def test_a_pipe_in_a_files_place_does_not_make_it_wait(day, signer):
    os.mkfifo(day / "T01.wav")
    publish(day, document([entry("T01.wav", b"x")]), signer)
    (answer,) = verdict(day).compared.checked
    assert (answer.answer.value, answer.why) == ("unreadable", "T01.wav: pipe")


def test_a_manifest_or_signature_that_is_a_link_is_not_read(day, signer, tmp_path):
    """A newer manifest as a link is said; a signature as a link is a bad one."""
    names = made(day, signer)
    (day / f"{DAY}.r2.manifest.json").symlink_to(names["manifest"])
    names["signature"].rename(tmp_path / "sig")
    names["signature"].symlink_to(tmp_path / "sig")
    received = checked(day)
    assert received.unread[0][0] == b"2031-05-06.r2.manifest.json"
    assert received.days[0].manifest.signed.word == "bad"


def test_names_that_differ_in_case_are_two_files(day, signer):
    """The manifest's second one meets the first: refused, and its file is a stranger."""
    put(day, {"A/T01.wav": b"x", "A/t01.WAV": b"y"})
    publish(day, document([entry("A/T01.wav", b"x"), entry("A/t01.WAV", b"y")]), signer)
    one = verdict(day)
    assert one.receipt.intact == 1
    assert one.manifest.doc.refused == ("A/t01.WAV",)
    assert one.compared.strangers == ("A/t01.WAV",)
    assert not in_order(checked(day))


@pytest.mark.parametrize(
    "raw",
    [
        b"[" * 200_000,
        b"[" * 5_000_000,
        b'{"a":' * 200_000,
        b"[" + b"{}," * 3_000_000 + b"{}]",
        b'{"schema":"takehold-manifest/1","schema":"takehold-manifest/1"}',
        b'{"schema":"takehold-manifest/1","revision":' + b"9" * 1_000_000 + b"}",
        b'{"schema":"takehold-manifest/1","revision":1e999}',
        b'{"schema":"takehold-manifest/1","revision":NaN}',
        b"\xff\xfe",
        b"",
    ],
    ids=["deep", "deeper", "objects", "wide", "key twice", "digits", "inf", "nan", "utf-16", "nil"],
)
def test_a_bomb_is_one_plain_sentence(day, signer, raw):
    """Also where it is well signed; nothing is confirmed."""
    names = made(day, signer)
    names["manifest"].write_bytes(raw)
    names["signature"].write_bytes(signer.sign(raw, "takehold-manifest"))
    received = checked(day)
    assert received.days == ()
    assert is_shown(received.unread[0][1])
    assert not in_order(received)
    assert "1 manifests that cannot be read" in conclusion(received)


@pytest.mark.parametrize("size", [2**53, 10**30, -1, 1.5, "9", True])
def test_a_size_that_is_none_spoils_the_manifest(day, signer, size):
    names = made(day, signer)
    doc = json.loads(names["manifest"].read_bytes())
    doc["files"][0]["size"] = size
    names["manifest"].write_bytes(json.dumps(doc).encode())
    assert checked(day).days == ()


def test_a_huge_size_allocates_nothing_and_reads_nothing(day, signer):
    """A sparse file of 1 TiB in a small one's place is altered by its size alone."""
    put(day, {"T01.wav": b"x", "T02.wav": b""})
    os.truncate(day / "T02.wav", 1 << 40)
    files = [entry("T01.wav", b"x", size=2**53 - 1), entry("T02.wav", b"y")]
    publish(day, document(files), signer)
    assert [c.why for c in verdict(day).compared.checked] == [
        "1 bytes instead of 9007199254740991",
        "1099511627776 bytes instead of 1",
    ]


def test_a_manifest_over_the_cap_is_not_read(day, signer, monkeypatch):
    made(day, signer)
    monkeypatch.setattr(engine, "MANIFEST_CAP", 100)
    assert "at most 100 are read" in checked(day).unread[0][1]


def test_a_signature_of_any_size_is_not_read_whole(day, signer):
    """A sparse one of 1 TiB."""
    os.truncate(made(day, signer)["signature"], 1 << 40)
    assert verdict(day).manifest.signed.word == "bad"


def test_without_a_signature_nothing_is_confirmed(day, signer):
    made(day, signer)["signature"].unlink()
    received = checked(day, frozenset({signer.fingerprint()}))
    assert received.days[0].manifest.signed.word == "none"
    assert "NOT confirmed: no signature" in conclusion(received)


def test_a_signature_for_another_purpose_is_bad(day, signer):
    names = made(day, signer)
    raw = names["manifest"].read_bytes()
    names["signature"].write_bytes(signer.sign(raw, "file"))
    assert "another purpose" in verdict(day).manifest.signed.says


def test_a_changed_manifest_is_not_believed_though_its_files_fit(day, signer):
    """Somebody altered a take and its checksum in the manifest."""
    names = made(day, signer)
    raw = names["manifest"].read_bytes()
    names["manifest"].write_bytes(raw.replace(b'"A. Mixer"', b'"B. Mixer"'))
    received = checked(day)
    assert received.days[0].manifest.signed.word == "bad"
    assert not in_order(received)


@pytest.mark.parametrize("what", ["signature", "manifest"])
def test_changed_line_endings_are_named_and_not_good(day, signer, what):
    """By a transfer in text mode; a manifest has line ends only where another program wrote it."""
    names = made(day, signer)
    raw = json.dumps(json.loads(names["manifest"].read_bytes()), indent=1).encode() + b"\n"
    names["manifest"].write_bytes(raw)
    names["signature"].write_bytes(signer.sign(raw, "takehold-manifest"))
    assert verdict(day).manifest.signed.word == "first use"
    names[what].write_bytes(names[what].read_bytes().replace(b"\n", b"\r\n"))
    signed = verdict(day).manifest.signed
    assert signed.word == "bad"
    assert "line endings were changed" in signed.says


def test_nothing_hidden_reaches_the_terminal(day, signer, tmp_path, monkeypatch, capsys):
    """Escapes in the names of files, in the production, the reasons, and in the folder."""
    evil = "\x1b[2J\u202e"
    put(day, {f"{evil}T01.wav": b"x", f"{evil}stranger": b"x"})
    os.symlink("x", day / f"{evil}link")
    files = [entry(f"{evil}T01.wav", b"y"), entry(f"../{evil}", b"z", copies=[])]
    publish(day, document(files, production=evil, reasons=[evil], mixer=evil), signer)
    (tmp_path / "post").mkdir()
    monkeypatch.chdir(tmp_path / "post")
    for as_json in (False, True):
        status = receive(
            str(day),
            key=None,
            sign_with=None,
            received_by=evil,
            receipt_to=None,
            as_json=as_json,
        )
        assert status == 1
        told = capsys.readouterr()
        assert all(line.isprintable() for line in (told.out + told.err).splitlines())
    assert "\\x1b[2J\\u202eT01.wav" in (told.out + told.err).replace("\\\\", "\\")
    assert sorted(p.parent.name for p in (tmp_path / "post").rglob("*.json")) == ["post", "post"]


def test_a_production_that_is_a_path_gives_a_receipt_in_its_place(day, signer, tmp_path):
    """The receipt's name comes from the manifest."""
    made(day, signer, production="../../escape")
    to = tmp_path / "a" / "b"
    to.mkdir(parents=True)
    receive(str(day), key=None, sign_with=None, received_by="", receipt_to=str(to), as_json=True)
    assert [p.name for p in tmp_path.rglob("*.receipt.json")] == [
        f"..%2F..%2Fescape.{DAY}.r1.receipt.json"
    ]
    assert (to / f"..%2F..%2Fescape.{DAY}.r1.receipt.json").exists()


def test_an_unreadable_file_is_an_answer_and_its_neighbours_are_read(signer, tmp_path):
    """A bad sector: a read error in one file of a drive."""
    volume, look = fake_day(tmp_path, signer)
    volume.fail_next("read", WorldError("T01.wav: the device failed."), b"T01.wav")
    one = look().days[0]
    assert [c.answer.value for c in one.compared.checked] == ["unreadable", "intact"]
    assert one.receipt.altered == ("T01.wav",)
    assert "the device failed" in one.compared.checked[0].why


def test_a_drive_that_is_pulled_gives_no_receipt(signer, tmp_path):
    """Nothing is concluded of files that nobody could read any more."""
    volume, look = fake_day(tmp_path, signer)
    volume.fail_next("open", VolumeGone("T02.wav: the volume answers no more."), b"T02.wav")
    with pytest.raises(VolumeGone):
        look()


def test_a_file_that_is_cut_while_it_is_read_is_not_intact(signer, tmp_path):
    volume, look = fake_day(tmp_path, signer)
    volume.shrink(b"T01.wav", 4096)
    assert look().days[0].compared.checked[0].why == "it changed while it was read"


def test_a_flipped_bit_is_found(signer, tmp_path):
    """One bit, in the last byte."""
    volume, look = fake_day(tmp_path, signer)
    volume.flip[b"T01.wav"] = 8191
    assert look().days[0].receipt.altered == ("T01.wav",)


def fake_day(tmp_path: Path, signer):
    """A day on a drive in memory, and how to check it."""
    content = {"T01.wav": b"1" * 8192, "T02.wav": b"2" * 8192}
    names = publish(tmp_path / "made", document([entry(p, c) for p, c in content.items()]), signer)
    files = {path.name.encode(): path.read_bytes() for path in names.values() if path.exists()}
    files |= {place.encode(): data for place, data in content.items()}
    disk = FakeDisk()
    volume = disk.volume(b"/media/SHUTTLE", files)
    watcher = Quiet()

    def look():
        receiver = engine.Receiver("A. Receiver", b"/media/SHUTTLE", "takehold test")
        with disk.source(volume.root) as tree:
            received = engine.receive(tree, None, receiver, SystemClock(), watcher)
        assert watcher.moved_size == watcher.size == 16_384
        return received

    return volume, look
