"""Rebuilding from the archive and from drives: what counts, what is named and left out.

The drives are folders of this machine or in memory; the archive, the key and the signatures are
the real ones.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from test_rebuild import DAY, NEXT, NOON, SETTINGS, Shoot, copy

from fakedisk import FakeDisk, FakeVolume
from makings import root_at
from takehold.adapters.archive import FolderArchive
from takehold.adapters.disk import LocalDisk
from takehold.adapters.signer import KeySigner
from takehold.decide.manifest import NAMESPACE, PRINCIPAL
from takehold.decide.manifest_names import names_of
from takehold.engine.rebuild import MANIFEST_CAP, number_of, rebuild
from takehold.model import facts as f
from takehold.model.errors import NoRights, VolumeGone, WorldError
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.situation import Target

FOLDER = b"Lantern Bay/"
MANIFEST, SIGNATURE, SIGNERS = (names_of(DAY, 1)[n] for n in ("manifest", "signature", "signers"))


@dataclass
class Cart:
    """A laptop's archive, its key, and drives in memory."""

    archive: FolderArchive
    signer: KeySigner = field(default_factory=lambda: KeySigner(Ed25519PrivateKey.generate()))
    disk: FakeDisk = field(default_factory=FakeDisk)
    shoot: Shoot = field(default_factory=Shoot)

    def files(self, number: int = -1, signer: KeySigner | None = None) -> dict[str, bytes]:
        """A written revision's files, signed."""
        raw, doc = self.shoot.docs[number]
        names = names_of(doc["day"], doc["revision"])
        signer = signer or self.signer
        return {
            names["manifest"]: raw,
            names["signature"]: signer.sign(raw, NAMESPACE),
            names["signers"]: signer.allowed_signers(PRINCIPAL, NAMESPACE),
        }

    def drive(self, name: str, files: dict[str, bytes], day: str = DAY) -> FakeVolume:
        volume = self.disk.volume(b"/media/" + name.encode())
        for own, data in files.items():
            volume.put(FOLDER + day.encode() + b"/" + own.encode(), data)
        return volume

    def rebuild(self, *drives: FakeVolume) -> tuple[Ledger, str]:
        targets = [Target(v.root.volume.label, v.root, 1 << 40) for v in drives]
        facts, says = rebuild(self.archive, self.disk, targets, self.signer, SETTINGS.production)
        ledger = Ledger()
        ledger.apply(facts)
        return ledger, "\n".join(says)


@pytest.fixture
def cart(tmp_path: Path) -> Cart:
    """One day with one recording, its manifest written and not yet put anywhere."""
    made = Cart(FolderArchive(str(tmp_path / "archive")))
    made.shoot.recording(made.shoot.load())
    made.shoot.write()
    return made


def test_the_archive_alone_is_enough(cart: Cart) -> None:
    cart.archive.keep(DAY, cart.files())
    ledger, says = cart.rebuild()
    assert [r.path for r in ledger.day(DAY)] == [b"12A-T03.WAV"]
    assert says == ("Known again from signed manifests (1): days 1, files 1, proven copies 2.")


def test_a_drive_alone_is_enough_and_the_archive_has_it_then(cart: Cart) -> None:
    """What stood on a drive only is kept; the drive itself is not written to."""
    drive = cart.drive("SHUTTLE_1", cart.files())
    before = dict(drive.files)
    ledger, _ = cart.rebuild(drive)
    assert len(ledger.recordings) == 1
    assert {n: cart.archive.read(DAY, n) for n in cart.archive.names(DAY)} == cart.files()
    assert drive.files == before
    again, _ = cart.rebuild()
    assert again.recordings == ledger.recordings


def test_real_folders(cart: Cart, tmp_path: Path) -> None:
    """The same on the file system of this machine, through the adapter."""
    day = tmp_path / "drive" / "Lantern Bay" / DAY
    day.mkdir(parents=True)
    for name, data in cart.files().items():
        (day / name).write_bytes(data)
    (day / "SND_A01").mkdir()
    target = Target("shuttle-1", root_at(tmp_path / "drive"), 1 << 40)
    facts, _ = rebuild(cart.archive, LocalDisk(), [target], cart.signer, "Lantern Bay")
    assert sum(isinstance(x, f.Inventoried) for x in facts) == 1


def test_a_link_is_not_followed(cart: Cart, tmp_path: Path) -> None:
    """A manifest that is a link out of the drive is named and left out (P10)."""
    day = tmp_path / "drive" / "Lantern Bay" / DAY
    day.mkdir(parents=True)
    for name, data in cart.files().items():
        (tmp_path / name).write_bytes(data)
        (day / name).symlink_to(tmp_path / name)
    target = Target("shuttle-1", root_at(tmp_path / "drive"), 1 << 40)
    facts, says = rebuild(cart.archive, LocalDisk(), [target], cart.signer, "Lantern Bay")
    assert facts == ()
    assert MANIFEST in says[0]


def test_days_and_revisions_from_different_places(cart: Cart) -> None:
    """One day in the archive, another on one drive, the newest revision on another."""
    card = next(iter(cart.shoot.ledger.loads.values()))
    cart.archive.keep(DAY, cart.files())
    cart.shoot.recording(card, b"N.WAV", day=NEXT, file="33", audio="cc")
    cart.shoot.write(NEXT, NOON + 90_000)
    one = cart.drive("SHUTTLE_1", cart.files(), NEXT)
    cart.shoot.recording(card, b"O.WAV", file="44", audio="dd")
    cart.shoot.write(at=NOON + 99_000)
    two = cart.drive("RAID", cart.files())
    ledger, says = cart.rebuild(one, two)
    assert len(ledger.recordings) == 3
    assert ledger.revisions == cart.shoot.ledger.revisions
    assert says.startswith("Known again from signed manifests (3): days 2,")


def spoil(raw: bytes) -> bytes:
    return raw.replace(b'"durable":true', b'"durable":null')


@pytest.mark.parametrize("place", ["archive", "drive"])
@pytest.mark.parametrize(
    ("name", "change", "why"),
    [
        (MANIFEST, spoil, "they were changed"),
        (MANIFEST, lambda raw: raw[: len(raw) // 2], "they were changed"),
        (MANIFEST, lambda raw: b"", "they were changed"),
        (SIGNATURE, lambda raw: raw[:-30], "breaks off"),
        (SIGNATURE, lambda raw: b"", "no OpenSSH signature"),
        (SIGNATURE, None, SIGNATURE),
    ],
)
def test_what_is_damaged_is_named_and_left_out(
    cart: Cart, place: str, name: str, change: object, why: str
) -> None:
    """A forged or cut manifest, a cut or missing signature: no fact comes of it."""
    files = cart.files()
    files[name] = change(files[name]) if callable(change) else b""
    if change is None:
        del files[name]
    drives = [cart.drive("SHUTTLE_1", files)] if place == "drive" else []
    if place == "archive":
        cart.archive.keep(DAY, files)
    ledger, says = cart.rebuild(*drives)
    assert ledger.recordings == {}
    assert ledger.revisions == {}
    assert MANIFEST in says
    assert why in says
    assert "No manifest signed with this key was found" in says


def test_a_damaged_one_in_the_archive_is_answered_by_a_drive(cart: Cart) -> None:
    """The good one counts; the archive's other bytes are not replaced, and that is said."""
    cart.archive.keep(DAY, {MANIFEST: b"{}"})
    ledger, says = cart.rebuild(cart.drive("SHUTTLE_1", cart.files()))
    assert len(ledger.recordings) == 1
    assert cart.archive.read(DAY, MANIFEST) == b"{}"
    assert "could not be kept" in says


def test_a_lost_signature_is_put_back_from_a_drive(cart: Cart) -> None:
    files = cart.files()
    cart.archive.keep(DAY, {MANIFEST: files[MANIFEST]})
    ledger, _ = cart.rebuild(cart.drive("SHUTTLE_1", files))
    assert len(ledger.recordings) == 1
    assert cart.archive.read(DAY, SIGNATURE) == files[SIGNATURE]


def test_another_key_does_not_count(cart: Cart) -> None:
    """A whole, well-signed folder of somebody else: named with its fingerprint, left out."""
    other = KeySigner(Ed25519PrivateKey.generate())
    drive = cart.drive("SHUTTLE_1", cart.files(signer=other))
    ledger, says = cart.rebuild(drive)
    assert ledger.recordings == {}
    assert other.fingerprint() in says
    assert cart.archive.days() == ()


def test_a_signature_for_another_purpose_does_not_count(cart: Cart) -> None:
    files = cart.files()
    files[SIGNATURE] = cart.signer.sign(files[MANIFEST], "takehold-receipt")
    ledger, says = cart.rebuild(cart.drive("SHUTTLE_1", files))
    assert ledger.recordings == {}
    assert "another purpose" in says


def test_a_manifest_under_another_name_or_day_does_not_count(cart: Cart) -> None:
    """A signed manifest that was renamed to be a newer revision, or another day's (P11)."""
    raw, signature, _ = cart.files().values()
    names = names_of(DAY, 2)
    drive = cart.drive("A", {names["manifest"]: raw, names["signature"]: signature})
    names = names_of(NEXT, 1)
    other = cart.drive("B", {names["manifest"]: raw, names["signature"]: signature}, NEXT)
    ledger, says = cart.rebuild(drive, other)
    assert ledger.revisions == {}
    assert says.count(f"It says that it is revision 1 of {DAY}.") == 2


def test_another_production_on_the_drive_does_not_count(cart: Cart) -> None:
    """Moved into our production's folder it still is another's."""
    cart.shoot.settings = type(SETTINGS)("Other", SETTINGS.sources, SETTINGS.destinations)
    cart.shoot.write()
    ledger, says = cart.rebuild(cart.drive("A", cart.files()))
    assert ledger.recordings == {}
    assert "of another production, Other" in says


def test_two_of_one_number_the_archives_counts(cart: Cart) -> None:
    """Both signed with our key: a laptop whose archive was lost once. The other one is named."""
    cart.archive.keep(DAY, cart.files())
    first = cart.files()
    cart.shoot.ledger.revisions.clear()
    cart.shoot.ledger.apply([f.Acked("x", "y", NOON)])
    cart.shoot.write(at=NOON + 5)
    drive = cart.drive("SHUTTLE_1", cart.files())
    ledger, says = cart.rebuild(drive)
    assert len(ledger.revisions[DAY]) == 1
    assert cart.archive.read(DAY, MANIFEST) == first[MANIFEST]
    assert "other content than the one that counts" in says


def test_a_signed_manifest_that_is_not_in_its_form_does_not_block_the_others(cart: Cart) -> None:
    """Its neighbours count all the same (P10)."""
    card = next(iter(cart.shoot.ledger.loads.values()))
    cart.shoot.recording(card, b"N.WAV", day=NEXT, file="33", audio="cc")
    cart.shoot.write(NEXT)
    good = cart.files()
    raw, _ = cart.shoot.docs[0]
    bad = spoil(raw)
    files = {MANIFEST: bad, SIGNATURE: cart.signer.sign(bad, NAMESPACE)}
    drive = cart.drive("SHUTTLE_1", files)
    for name, data in good.items():
        drive.put(FOLDER + NEXT.encode() + b"/" + name.encode(), data)
    ledger, says = cart.rebuild(drive)
    assert [r.day for r in ledger.recordings.values()] == [NEXT]
    assert "'durable' is not as a manifest has it" in says


def test_a_manifest_beyond_the_cap_is_not_read(cart: Cart) -> None:
    drive = cart.drive("SHUTTLE_1", {MANIFEST: bytes(MANIFEST_CAP + 1), SIGNATURE: b""})
    ledger, says = cart.rebuild(drive)
    assert ledger.recordings == {}
    assert "larger than" in says


@pytest.mark.parametrize("op", ["taken", "open", "read"])
def test_a_drive_that_goes_away_is_named_and_the_others_are_read(cart: Cart, op: str) -> None:
    """VolumeGone at any moment: one sentence for that drive, everything from the next."""
    dying = cart.drive("SHUTTLE_1", cart.files())
    dying.fail_next(op, VolumeGone("It answers no more."))
    ledger, says = cart.rebuild(dying, cart.drive("RAID", cart.files()))
    assert len(ledger.recordings) == 1
    assert "SHUTTLE_1 could not be read to its end: It answers no more." in says


def test_a_drive_that_was_taken_out_before(cart: Cart) -> None:
    gone = cart.drive("SHUTTLE_1", cart.files())
    gone.yank()
    cart.archive.keep(DAY, cart.files())
    ledger, says = cart.rebuild(gone)
    assert len(ledger.recordings) == 1
    assert len(ledger.copies_of(next(iter(ledger.recordings)))) == 2
    assert says.count("SHUTTLE_1 ") == 1


def test_a_file_that_cannot_be_read_leaves_the_rest_of_the_drive(cart: Cart) -> None:
    """A bad sector in one manifest, no rights for one day's folder."""
    card = next(iter(cart.shoot.ledger.loads.values()))
    drive = cart.drive("SHUTTLE_1", cart.files())
    cart.shoot.recording(card, b"N.WAV", day=NEXT, file="33", audio="cc")
    cart.shoot.write(NEXT)
    for name, data in cart.files().items():
        drive.put(FOLDER + NEXT.encode() + b"/" + name.encode(), data)
    day = FOLDER + DAY.encode()
    drive.fail_next("read", WorldError("The medium has an error."), day + b"/" + MANIFEST.encode())
    ledger, says = cart.rebuild(drive)
    assert [r.day for r in ledger.recordings.values()] == [NEXT]
    assert f"{MANIFEST} (SHUTTLE_1): The medium has an error." in says
    drive.fail_next("taken", NoRights("No rights."), day)
    drive.fail_next("taken", NoRights("No rights."), FOLDER[:-1])
    _, says = cart.rebuild(drive)
    assert "SHUTTLE_1 could not be read to its end: No rights." in says


def test_a_revision_that_is_lacking_in_the_chain_is_named(cart: Cart) -> None:
    """What a manifest follows, and nobody has (P11)."""
    cart.shoot.write(at=NOON + 20_000)
    ledger, says = cart.rebuild(cart.drive("SHUTTLE_1", cart.files()))
    assert [r.number for r in ledger.revisions[DAY]] == [2]
    assert f"Revision 1 of {DAY}, which revision 2 of {DAY} follows, was not found." in says


def place_copies(cart: Cart, drive: FakeVolume, *sizes: int) -> list[Recording]:
    """Recordings with a copy on that drive, and what really lies there, -1 for nothing."""
    card = next(iter(cart.shoot.ledger.loads.values()))
    made: list[Recording] = []
    for number, size in enumerate(sizes):
        recording = cart.shoot.recording(card, b"C%d.WAV" % number, file=f"{number + 40}", on=())
        there = copy(recording.id, "shuttle-1", recording.place, NOON)
        own = type(there)(
            there.recording, there.destination, drive.root.identity, there.disks, there.path,
            there.proof,
        )  # fmt: skip
        cart.shoot.ledger.apply([f.Proven(own)])
        if size >= 0:
            drive.put(recording.place, bytes(size))
        made.append(recording)
    return made


def test_copies_that_are_not_there_are_owed_again(cart: Cart) -> None:
    """Missing, or of another length, on a drive that is there; those on absent drives stay."""
    drive = cart.drive("SHUTTLE_1", {})
    kept, gone, cut = place_copies(cart, drive, 144_700, -1, 5)
    cart.shoot.write()
    cart.archive.keep(DAY, cart.files())
    cart.archive.keep(DAY, cart.files(0))
    ledger, says = cart.rebuild(drive)
    copies = {r.place: ledger.copies_of(r.id) for r in ledger.recordings.values()}
    assert [len(copies[r.place]) for r in (kept, gone, cut)] == [1, 0, 0]
    assert len(copies[FOLDER + DAY.encode() + b"/SND_A01/12A-T03.WAV"]) == 2
    assert "SHUTTLE_1 lacks proven copies" in says
    assert "C1.WAV" in says
    assert "C2.WAV" in says


def test_many_lost_copies_are_one_sentence(cart: Cart) -> None:
    drive = cart.drive("SHUTTLE_1", {})
    place_copies(cart, drive, *[-1] * 9)
    cart.shoot.write()
    cart.archive.keep(DAY, cart.files())
    _, says = cart.rebuild(drive)
    assert "and 4 more. They are copied again." in says


def test_copies_that_could_not_be_looked_for_stay(cart: Cart) -> None:
    """Absence is not evidence: a drive that fails allows no conclusion."""
    drive = cart.drive("SHUTTLE_1", {})
    place_copies(cart, drive, -1)
    cart.shoot.write()
    cart.archive.keep(DAY, cart.files())
    drive.fail_next("stamp_of", VolumeGone("It answers no more."))
    ledger, says = cart.rebuild(drive)
    assert sum(len(ledger.copies_of(i)) for i in ledger.recordings) == 3
    assert "could be looked for: It answers no more." in says


def test_nothing_anywhere(cart: Cart) -> None:
    ledger, says = cart.rebuild(cart.disk.volume(b"/media/EMPTY"))
    assert ledger.recordings == {}
    assert says == "No manifest signed with this key was found; the catalogue begins empty."


@pytest.mark.parametrize(
    "name",
    [
        f"{DAY}.r0.manifest.json",
        f"{DAY}.r01.manifest.json",
        f"{DAY}.r-1.manifest.json",
        f"{DAY}.r\u0661.manifest.json",
        f"{DAY}.r1.manifest.json.sig",
        f"{DAY}.r1.manifest.json\n",
        f"{NEXT}.r1.manifest.json",
        f"x{DAY}.r1.manifest.json",
        "r1.manifest.json",
        f"{DAY}.r{'9' * 4000}.manifest.json",
    ],
)
def test_other_names_are_no_manifests(name: str) -> None:
    assert number_of(DAY, name) is None
    assert number_of(DAY, f"{DAY}.r12.manifest.json") == 12
