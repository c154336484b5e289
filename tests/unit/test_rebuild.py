"""A ledger, written into manifests, read back from them: the same standings and findings.

No outside reference exists for this format of our own; the times are checked against RFC 3339.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takehold.decide.day import DATED
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, document, revision
from takehold.decide.manifest_names import names_of
from takehold.decide.manifest_read import original
from takehold.decide.place import card_folder, place_of
from takehold.decide.reads import Reads, reads_of
from takehold.decide.rebuild import facts_of_manifests
from takehold.formats.canonical import canonical
from takehold.formats.levels import packed
from takehold.formats.names import display, same_key
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.errors import Malformed
from takehold.model.finding import Relation, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.measured import Channel
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Destination, Expect, Role, Settings, Source
from takehold.model.sound import (
    Coding,
    Complaint,
    Description,
    Kind,
    Metadata,
    Rate,
    Sound,
    Span,
    Track,
    WaveFormat,
)

DAY, NEXT = "2031-05-06", "2031-05-07"
NOON = 1_935_835_200  # 2031-05-06T12:00:00Z, by GNU date
SETTINGS = Settings(
    production="Lantern Bay",
    sources=(Source("primary", Role.PRIMARY, "SND_A*"), Source("backup", Role.BACKUP, "SND_B*")),
    destinations=(Destination("shuttle-1", "SHUTTLE_1"), Destination("cart-raid", "RAID")),
    expect=Expect(Rate(24000, 1001), 48_000, 24),
)
POLY = WaveFormat(1, 2, 48_000, 24, 6)
BEXT = Metadata(
    project="Lantern Bay",
    scene="12A",
    take="1",
    tape="D07",
    circled=True,
    note="plane at the end",
    date=DAY,
    time="14:01:50",
    time_reference=2_425_224_000,
    timecode_rate=Rate(24000, 1001),
    file_uid="T0003",
    family_uid="F01",
    tracks=(Track(1, 1, "Boom"), Track(2, 2, "Lav «A»")),
)
WAVE = Description(Kind.WAVE, POLY, Span(700, 144_000), 24_000, BEXT)
OPAQUE = Description(Kind.OTHER)


@dataclass
class Shoot:
    """A production's ledger and the manifests that were written of it."""

    ledger: Ledger = field(default_factory=Ledger)
    settings: Settings = SETTINGS
    docs: list[tuple[bytes, dict[str, Any]]] = field(default_factory=list)

    def load(
        self, role: Role = Role.PRIMARY, label: str = "SND_A01", day: str = DAY, at: int = NOON
    ) -> Load:
        folder = card_folder(label, day, self.ledger.loads.values())
        number = self.ledger.next_id
        load = Load(number, role.value, role, f"uuid:{label}", label, folder, frozenset(), at, day)
        listed = f.Listed(number, at, 1, (("thumbs.db", 2),), (f.Skip(b"a-link\xff", "a link"),))
        self.ledger.apply([f.LoadSeen(load), listed])
        return load

    def recording(
        self,
        load: Load,
        path: bytes = b"12A-T03.WAV",
        said: Description = WAVE,
        *,
        day: str = DAY,
        audio: str = "aa",
        file: str = "11",
        reads: Iterable[str | None] = (None,),
        on: Iterable[str] = ("shuttle-1", "cart-raid"),
        frames: int = 24_000,
    ) -> Recording:
        """One version of one file; `reads` are its digests where they differ from the first."""
        number = self.ledger.next_id
        version = len(self.ledger.versions(load.id, path)) + 1
        taken = {same_key(r.place) for r in self.ledger.day(day)}
        place = place_of(self.settings.production, day, load.folder, path, version, taken)
        stamp = Stamp(144_700, (load.seen_at - 60) * 10**9)
        made = Recording(number, load.id, path, stamp, load.seen_at, day, place, version, said)
        self.ledger.apply([f.Inventoried(made)])
        sound = Sound(frames, audio * 16, b"\0" * 8) if said.format else None
        for count, other in enumerate(reads):
            digests = Digests((other or file) * 8, (other or file) * 32)
            reading = Reading(digests, sound, load.seen_at + count, Seen.MEDIUM)
            self.ledger.apply([f.WasRead(number, reading)])
            sound = None
        for name in on:
            self.ledger.apply([f.Proven(copy(number, name, place, load.seen_at + 5))])
        return self.ledger.recordings[number]

    def write(self, day: str = DAY, at: int = NOON + 9000) -> dict[str, Any]:
        """The day's next revision, as the engine writes it."""
        judged = judge(self.ledger, day, self.settings)
        doc = document(judged, self.ledger, self.settings, (), Writer("cart", "takehold 0"))
        newest = self.ledger.newest(day)
        number = newest.number + 1 if newest else 1
        raw = canonical(revision(doc, number, at, self.ledger.last_revision()))
        read: dict[str, Any] = json.loads(raw)
        self.docs.append((raw, read))
        told = facts_of_manifests([(raw, read)])
        self.ledger.apply([r for r in told if isinstance(r, f.Revised)])
        return read

    def rebuilt(self) -> Ledger:
        ledger = Ledger()
        ledger.apply(facts_of_manifests(self.docs))
        return ledger


def copy(recording: int, name: str, place: bytes, at: int) -> Copy:
    disks = frozenset({f"disk of {name}"})
    return Copy(recording, name, f"id:{name}", disks, place, Proof(at, Seen.MEDIUM, durable=True))


def seen_in(ledger: Ledger, day: str, settings: Settings = SETTINGS) -> dict[str, object]:
    """Everything that a day comes to, without the numbers that may differ."""
    judged = judge(ledger, day, settings)
    return {
        "verdict": judged.verdict,
        "reasons": judged.reasons,
        "findings": sorted((x.id, x.code, x.severity, x.subject, x.says) for x in judged.findings),
        "files": sorted(
            (
                s.recording.place,
                s.recording.path,
                s.recording.version,
                s.recording.stamp.size,
                s.recording.digests,
                s.recording.description.kind,
                s.recording.description.format,
                s.recording.description.metadata,
                s.load.folder,
                s.current,
                s.devices,
                s.reads,
                s.confirmed,
                s.answer and s.answer.relation,
                tuple(
                    c._replace(recording=0, proof=c.proof._replace(mtime_ns=0)) for c in s.copies
                ),
            )
            for s in judged.view.files
        ),
        "loads": [
            (load.identity, load.label, load.role, load.seen_at, load.day)
            for load in judged.view.loads
        ],
    }


def same_days(shoot: Shoot, *days: str) -> Ledger:
    rebuilt = shoot.rebuilt()
    for day in days:
        assert seen_in(rebuilt, day, shoot.settings) == seen_in(shoot.ledger, day, shoot.settings)
    return rebuilt


def test_a_ready_day_comes_back_ready() -> None:
    """Two cards, two drives, everything confirmed: READY before and after."""
    shoot = Shoot()
    for role, label in ((Role.PRIMARY, "SND_A01"), (Role.BACKUP, "SND_B01")):
        shoot.recording(shoot.load(role, label))
    shoot.ledger.listings.clear()  # its skipped entry would be a finding
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    assert judge(rebuilt, DAY, SETTINGS).verdict is Verdict.READY
    assert rebuilt.day(DAY)[0].description.metadata == BEXT
    assert rebuilt.day(DAY)[0].description.frames == 24_000


def test_several_days_and_revisions() -> None:
    """A card of two days, a revision more for one of them: the newest counts, all are known."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card, on=("shuttle-1",))
    shoot.write()
    shoot.recording(card, b"12A-T04.WAV", file="22", audio="bb")
    night = replace(WAVE, metadata=replace(BEXT, date=NEXT))
    shoot.recording(card, b"NEXT/13-T01.WAV", night, day=NEXT, file="33", audio="cc")
    shoot.write(at=NOON + 20_000)
    shoot.write(NEXT, at=NOON + 90_000)
    rebuilt = same_days(shoot, DAY, NEXT)
    assert rebuilt.revisions == shoot.ledger.revisions
    assert rebuilt.last_revision() == shoot.ledger.last_revision()
    assert [r.name for r in rebuilt.revisions[DAY]] == [
        names_of(DAY, n)["manifest"] for n in (1, 2)
    ]
    assert len(rebuilt.loads) == 1
    ids = [*rebuilt.loads, *rebuilt.recordings]
    assert len(ids) == len(set(ids)) == 4


def test_the_order_of_the_manifests_does_not_matter() -> None:
    """From whatever drive they are read first."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card)
    shoot.write()
    shoot.recording(card, b"B.WAV", file="22")
    shoot.write(at=NOON + 20_000)
    backwards = facts_of_manifests(reversed(shoot.docs))
    assert backwards == facts_of_manifests(shoot.docs) == facts_of_manifests(shoot.docs * 2)


def test_numbers_of_loads_may_differ_between_manifests() -> None:
    """A load that has another number in another manifest is one load all the same."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card)
    shoot.write()
    shoot.recording(card, b"B.WAV", replace(WAVE, metadata=replace(BEXT, date=NEXT)), day=NEXT)
    other = shoot.write(NEXT)
    for entry in [*other["loads"], *other["files"]]:
        entry["id" if "id" in entry else "load"] = 77
    shoot.docs[-1] = (canonical(other), other)
    rebuilt = shoot.rebuilt()
    assert len(rebuilt.loads) == 1
    assert {r.load for r in rebuilt.recordings.values()} == set(rebuilt.loads)


def test_versions_stay_in_order() -> None:
    """An edit of the metadata, and other audio under the same name."""
    shoot = Shoot()
    card = shoot.load()
    for file, audio in (("11", "aa"), ("22", "aa"), ("33", "bb")):
        shoot.recording(card, file=file, audio=audio)
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    load = next(iter(rebuilt.loads))
    assert [r.version for r in rebuilt.versions(load, b"12A-T03.WAV")] == [1, 2, 3]
    current = rebuilt.current(load, b"12A-T03.WAV")
    assert current is not None
    assert current.digests == Digests("33" * 8, "33" * 32)


@pytest.mark.parametrize(
    "path", [b"\xff\xfe.WAV", b"a\\b:c.WAV", "é\u202e.WAV".encode(), b"LPT1.wav", b"x/y/%41.WAV"]
)
def test_names_come_back_as_bytes(path: bytes) -> None:
    """Names that are not UTF-8, hidden characters, names that a drive cannot hold."""
    shoot = Shoot()
    shoot.recording(shoot.load(label="SND_A\u202e\\1"), path)
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    assert rebuilt.day(DAY)[0].path == path


def test_an_unreadable_label_comes_back() -> None:
    """A volume label that is not UTF-8 reaches us with surrogates."""
    shoot = Shoot()
    shoot.recording(shoot.load(label=b"SND_A\xe9".decode("utf-8", "surrogateescape")))
    shoot.write()
    same_days(shoot, DAY)


def test_two_cards_of_one_label() -> None:
    """A reformatted card is another load, with a folder of its own."""
    shoot = Shoot()
    shoot.recording(shoot.load())
    shoot.recording(shoot.load(at=NOON + 100), file="22", audio="bb")
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    assert {load.folder for load in rebuilt.loads.values()} == {b"SND_A01", b"SND_A01.load-2"}


def test_an_opaque_file_and_complaints_keep_their_findings() -> None:
    """What was noticed of a file is noticed still, although its header is not read again."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card, b"SETUP.BIN", OPAQUE)
    broken = replace(WAVE, complaints=(Complaint("header-untrue", "12 of 15 (\u202e) bytes"),))
    shoot.recording(card, b"12A-T05.WAV", broken, file="44", audio="dd")
    silent = Description(Kind.WAVE, complaints=(Complaint("no-fmt", ""),))
    shoot.recording(card, b"12A-T06.WAV", silent, file="55")
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    codes = {x.code for x in judge(rebuilt, DAY, SETTINGS).findings}
    assert {"content-not-looked-at", "header-untrue", "no-fmt"} <= codes


def test_blocks_are_not_told_as_frames() -> None:
    """A block of ADPCM holds several samples (RFC 2361)."""
    shoot = Shoot()
    card = shoot.load()
    said = replace(WAVE, format=WaveFormat(0x11, 2, 48_000, 4, 2), frames=None)
    shoot.recording(card, b"12A-T05.WAV", said)
    audio = shoot.write()["files"][0]["audio"]
    assert audio["encoding"] == "tag 17"
    assert "blocks" in audio
    assert "frames" not in audio
    rebuilt = same_days(shoot, DAY)
    assert "sound-unmeasured" in {x.code for x in judge(rebuilt, DAY, SETTINGS).findings}


@pytest.mark.parametrize("code", sorted(DATED))
def test_what_was_odd_about_a_date_is_told_still(code: str) -> None:
    """The findings say it of the card; which files they are, each file's own entry says."""
    shoot = Shoot()
    card = shoot.load()
    odd = Complaint(code, "the recorder says 1980-01-01 (\u202e)")
    shoot.recording(card, b"12A-T05.WAV", replace(WAVE, complaints=(odd,)))
    shoot.recording(card, b"12A-T06.WAV", WAVE, file="44", audio="dd")
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    [again] = [r for r in rebuilt.recordings.values() if r.description.complaints]
    assert (again.path, again.description.complaints) == (b"12A-T05.WAV", (odd,))
    assert code in {x.code for x in judge(rebuilt, DAY, SETTINGS).findings}


@pytest.mark.parametrize("names", [("12A-T05.WAV",), ("12A-T05.WAV", "12A-T09.WAV")])
def test_a_sound_report_stays_no_audio(names: tuple[str, ...]) -> None:
    """What it lists is in no manifest: it is compared anew once it is listed again."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card, b"12A-T05.WAV", WAVE)
    report = Description(Kind.OTHER, listed=names)
    shoot.recording(card, b"REPORT.CSV", report, file="44")
    shoot.write()
    rebuilt = shoot.rebuilt()
    kinds = {r.path: r.description.kind for r in rebuilt.recordings.values()}
    assert kinds == {b"12A-T05.WAV": Kind.WAVE, b"REPORT.CSV": Kind.OTHER}


@pytest.mark.parametrize(
    ("reads", "word"),
    [
        ((None,), Reads.ONCE),
        ((None, None), Reads.AGREED),
        ((None, "99"), Reads.DISPUTED),
        ((None, "99", "88"), Reads.DISPUTED),
        ((None, "99", "99"), Reads.FIRST_WRONG),
    ],
)
def test_reads_that_differed_do_not_come_back_as_agreed(
    reads: tuple[str | None, ...], word: Reads
) -> None:
    """A refuted or disputed read stays so: its manifest said it in a finding (P4, P8)."""
    shoot = Shoot()
    shoot.recording(shoot.load(), reads=reads)
    shoot.write()
    rebuilt = shoot.rebuilt()
    assert reads_of(rebuilt.day(DAY)[0]) is word
    ids = [{x.id for x in judge(led, DAY, SETTINGS).findings} for led in (shoot.ledger, rebuilt)]
    assert ids[0] == ids[1]


def test_a_lost_and_an_altered_copy_stay_findings() -> None:
    """READY must not come of forgetting; and a copy made again at the same place counts."""
    shoot = Shoot()
    card = shoot.load()
    first = shoot.recording(card)
    second = shoot.recording(card, b"B.WAV", file="22", audio="bb")
    beside = second.place.replace(b"B.WAV", b"B.other-2.WAV")
    for made, path, why in ((first, first.place, "missing"), (second, beside, "altered")):
        gone = f.Broken(made.id, "shuttle-1", "id:shuttle-1", path, why, NOON + 60)
        shoot.ledger.apply([gone])
    shoot.ledger.apply([f.Proven(copy(first.id, "shuttle-1", first.place, NOON + 70))])
    shoot.write()
    rebuilt = same_days(shoot, DAY)
    whys = sorted(b.why for facts in rebuilt.broken.values() for b in facts)
    assert whys == ["altered", "missing"]


def test_decisions_come_back() -> None:
    """The last note on a finding, also from an older revision."""
    shoot = Shoot()
    shoot.recording(shoot.load(), said=replace(WAVE, complaints=(Complaint("frame-cut", ""),)))
    found = next(x for x in judge(shoot.ledger, DAY, SETTINGS).findings if x.code == "frame-cut")
    for note, at in (("listened", NOON + 10), ("listened twice", NOON + 20)):
        shoot.ledger.apply([f.Acked(found.id, note, at)])
        shoot.write()
    rebuilt = same_days(shoot, DAY)
    assert rebuilt.acks == {found.id: f.Acked(found.id, "listened twice", NOON + 20)}


def test_what_the_manifest_does_not_tell_is_left_open() -> None:
    """A change time of 0 asks for a read of the card; the next wrap writes a new revision."""
    shoot = Shoot()
    shoot.recording(shoot.load())
    shoot.write()
    rebuilt = shoot.rebuilt()
    made = rebuilt.day(DAY)[0]
    assert made.stamp == Stamp(144_700, (NOON - 60) * 10**9, 0)
    assert made.sound == Sound(24_000, "aa" * 16, b"")
    newest = rebuilt.newest(DAY)
    assert newest is not None
    assert newest.basis == ""
    assert rebuilt.published == set()


def test_listings_come_back() -> None:
    """What was ignored and skipped on a card."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card)
    shoot.write()
    rebuilt = shoot.rebuilt()
    known, told = shoot.ledger.listings[card.id], next(iter(rebuilt.listings.values()))
    assert told._replace(load=known.load, at=known.at) == known


def test_a_file_that_was_not_read_yet_keeps_the_day_on_hold() -> None:
    """It is in the findings and not in `files`; its card must be looked at again (P4)."""
    shoot = Shoot()
    for role, label in ((Role.PRIMARY, "SND_A01"), (Role.BACKUP, "SND_B01")):
        card = shoot.load(role, label)
        shoot.recording(card)
        if role is Role.PRIMARY:
            shoot.recording(card, b"SETUP.BIN", OPAQUE, reads=(), on=())
    shoot.ledger.listings = {
        i: listed._replace(skipped=()) for i, listed in shoot.ledger.listings.items()
    }
    shoot.write()
    rebuilt = shoot.rebuilt()
    assert len(rebuilt.recordings) == 2
    judged = judge(rebuilt, DAY, SETTINGS)
    assert judged.verdict is Verdict.HOLD
    assert [x.code for x in judged.findings if x.severity is Severity.HOLD] == [
        "inventory-incomplete"
    ]


def test_an_inventory_that_broke_off_is_told_again() -> None:
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card)
    listed = shoot.ledger.listings[card.id]
    shoot.ledger.apply([listed._replace(files=9, untaken=8)])
    shoot.write()
    same_days(shoot, DAY)


def test_the_end_of_the_chain_is_found_though_the_clock_went_back() -> None:
    """The next manifest must follow the one written last, not the one that looks newest (P11)."""
    shoot = Shoot()
    card = shoot.load()
    shoot.recording(card)
    shoot.recording(card, b"B.WAV", replace(WAVE, metadata=replace(BEXT, date=NEXT)), day=NEXT)
    for day, at in ((NEXT, NOON), (DAY, NOON + 50), (NEXT, NOON + 60), (DAY, NOON - 500)):
        shoot.write(day, at)
    last = shoot.rebuilt().last_revision()
    assert last == shoot.ledger.last_revision()
    assert last is not None
    assert (last.day, last.number) == (DAY, 2)


def test_a_card_seen_the_morning_after_belongs_to_its_own_day() -> None:
    """It stands in both days' manifests; a file without a date went with the card."""
    shoot = Shoot()
    card = shoot.load(day=NEXT, at=NOON + 70_000)
    shoot.recording(card)
    undated = replace(WAVE, metadata=replace(BEXT, date="", time=""))
    shoot.recording(card, b"X.WAV", undated, day=NEXT, file="22", audio="bb")
    shoot.write()
    shoot.write(NEXT)
    same_days(shoot, DAY, NEXT)


def test_a_fraction_of_a_second_is_kept() -> None:
    """RFC 3339, section 5.6: time-secfrac."""
    shoot = Shoot()
    shoot.recording(shoot.load())
    doc = shoot.write()
    doc["files"][0]["mtime"] = "2031-05-06T12:00:00.25Z"
    shoot.docs[-1] = (canonical(doc), doc)
    assert shoot.rebuilt().day(DAY)[0].stamp.mtime_ns == NOON * 10**9 + 250_000_000


def test_a_short_backup_stays_a_hold() -> None:
    """What it lacks cannot be told without block digests; that it is no answer can."""
    shoot = Shoot()
    shoot.recording(shoot.load())
    shoot.recording(shoot.load(Role.BACKUP, "SND_B01"), frames=9_000, audio="bb", file="22")
    shoot.write()
    judged = judge(shoot.rebuilt(), DAY, SETTINGS)
    answers = {s.answer.relation for s in judged.view.files if s.answer}
    assert answers <= {Relation.SHORT, Relation.DIFFERENT}
    assert judged.verdict is Verdict.HOLD


def broken_docs() -> list[tuple[str, Any]]:
    return [
        ("day", "2031-02-30"),
        ("files.0.place", "../outside.WAV"),
        ("files.0.place", 7),
        ("files.0.load", 99),
        ("files.0.reads", []),
        ("files.0.reads", ["now"]),
        ("files.0.reads.0.at", "yesterday"),
        ("files.0.reads.0.from", "the moon"),
        ("files.0.mtime", "2031-05-06"),
        ("files.0.audio.encoding", "tag x"),
        ("files.0.path_hex", "f"),
        ("files.0.copies.0.path", "/etc/passwd"),
        ("files.0.metadata", None),
        ("loads.0.role", "spare"),
        ("loads.0.label", "\\ud800"),
        ("loads.0.folder", "\\Uffffffff"),
        ("destinations", {}),
    ]


@pytest.mark.parametrize(("where", "value"), broken_docs(), ids=str)
def test_a_malformed_document_is_refused(where: str, value: object) -> None:
    """Malformed, never a wrong fact and never another error (P10)."""
    shoot = Shoot()
    shoot.recording(shoot.load())
    doc = shoot.write()
    *steps, last = where.split(".")
    inner: Any = doc
    for step in steps:
        inner = inner[int(step) if step.isdigit() else step]
    inner[int(last) if last.isdigit() else last] = value
    with pytest.raises(Malformed):
        facts_of_manifests([(b"", doc)])


@given(st.binary(max_size=40))
def test_every_shown_name_has_its_original(name: bytes) -> None:
    """`original` undoes `display` for any bytes."""
    assert original(display(name)) == name


@given(st.text(max_size=20).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_every_shown_text_has_its_original(name: bytes) -> None:
    """The same for names in UTF-8, hidden characters among them."""
    assert original(display(name)) == name


def test_no_manifest_no_facts() -> None:
    assert facts_of_manifests([]) == ()


FLAC_FILE = Description(Kind.COMPRESSED, WaveFormat(0xF1AC, 2, 48_000, 24, 6), frames=24_000)
MP3_FILE = Description(Kind.COMPRESSED, WaveFormat(0x0055, 2, 44_100, 0, 1))


@pytest.mark.parametrize("said", [FLAC_FILE, MP3_FILE], ids=["flac", "mp3"])
def test_a_compressed_file_stays_one(said: Description) -> None:
    """Not a WAVE file without a format: what its header said stands in the manifest."""
    shoot = Shoot()
    shoot.recording(shoot.load(), b"T01.DAT", said)
    for made in list(shoot.ledger.recordings.values()):
        bare = tuple(reading._replace(sound=None) for reading in made.readings)
        shoot.ledger.apply([f.Inventoried(replace(made, readings=bare))])
    entry = shoot.write()["files"][0]
    assert entry["audio"] is None
    assert entry["compressed"]["encoding"] in ("FLAC", "MP3")
    rebuilt = same_days(shoot, DAY)
    assert rebuilt.day(DAY)[0].description == said


def test_a_compressed_file_with_a_measure_keeps_both() -> None:
    shoot = Shoot()
    shoot.recording(shoot.load(), b"T01.FLAC", FLAC_FILE)
    shoot.write()
    made = same_days(shoot, DAY).day(DAY)[0]
    assert made.description == FLAC_FILE
    assert made.sound == Sound(24_000, "aa" * 16, b"")


def compared_shoot(relation: Relation = Relation.REDUCED, **figures: Any) -> Shoot:
    """A poly file on one card and another of fewer bits on the other, with what samples said."""
    shoot = Shoot()
    fewer = replace(WAVE, format=WaveFormat(1, 2, 48_000, 16, 4))
    ours = shoot.recording(shoot.load())
    backup = shoot.load(Role.BACKUP, "SND_B01")
    theirs = shoot.recording(backup, said=fewer, audio="bb", file="22")
    sides = (ours.id,), (theirs.id,)
    shoot.ledger.apply([f.Compared(Comparison(*sides, relation, NOON + 70, **figures))])
    return shoot


FIGURES = {"offset": -2, "residual_db": -96.0, "correlation": 1.0}


@pytest.mark.parametrize(
    ("relation", "figures"),
    [
        (Relation.REDUCED, FIGURES),
        (Relation.LONGER, {"frames": 5_000, "duration_difference": -9, **FIGURES}),
        (Relation.REDUCED, {"channels": (2,)}),
        (Relation.DIFFERENT, {"frame": 0, "channels": (1, 2), "residual_db": -3.25}),
        (Relation.SHORT, {"frame": 12_000, "frames": 12_000}),
        (Relation.SHORT, {"frame": 9, "frames": 3, "channels": (1,), "alone": (2,)}),
        (Relation.DIFFERENT, {"frame": 0, "channels": (1,), "missing": ((1, 2, 5), (2, 9, 24))}),
        (Relation.UNDECODED, {}),
        (Relation.LONGER, {"frames": 7}),
        (Relation.OTHER_LAYOUT, {"offset": 5, "theirs_alone": (2, 4)}),
        (Relation.SAME_AUDIO, {}),
    ],
)
def test_what_the_samples_said_comes_back(relation: Relation, figures: dict[str, Any]) -> None:
    """With its figures: nothing is compared again."""
    shoot = compared_shoot(relation, **figures)
    told = shoot.write()["comparisons"]
    assert [(entry["ours"], entry["relation"]) for entry in told] == [
        ([{"load": 1, "path": "12A-T03.WAV"}], relation.value)
    ]
    rebuilt = same_days(shoot, DAY)
    (known,), (again,) = shoot.ledger.comparisons.values(), rebuilt.comparisons.values()
    assert replace(again, ours=known.ours, theirs=known.theirs) == known
    assert judge(rebuilt, DAY, SETTINGS).view.uncompared == ()
    paths = [rebuilt.recordings[n].path for n in (*again.ours, *again.theirs)]
    assert paths == [b"12A-T03.WAV"] * 2


def test_a_manifest_of_before_has_no_comparisons() -> None:
    """It is read as ever, and the samples are compared anew."""
    shoot = compared_shoot(**FIGURES)
    doc = shoot.write()
    del doc["comparisons"]
    shoot.docs[-1] = (canonical(doc), doc)
    rebuilt = shoot.rebuilt()
    assert rebuilt.comparisons == {}
    assert len(judge(rebuilt, DAY, SETTINGS).view.uncompared) == 1


def test_a_comparison_of_an_older_version_is_not_told() -> None:
    """The newest one is another file, and was not compared yet."""
    shoot = compared_shoot(**FIGURES)
    shoot.recording(shoot.ledger.loads[1], file="33", audio="cc")
    assert "comparisons" not in shoot.write()


@pytest.mark.parametrize(
    ("where", "value"),
    [
        ("ours", []),
        ("theirs", [{"load": 1, "path": "OTHER.WAV"}]),
        ("relation", "alike"),
        ("offset", 1.5),
        ("offset", True),
        ("residual_db", "-96"),
        ("channels", [None]),
        ("at", 12),
    ],
    ids=str,
)
def test_a_malformed_comparison_is_refused(where: str, value: object) -> None:
    shoot = compared_shoot(**FIGURES)
    doc = shoot.write()
    doc["comparisons"][0][where] = value
    with pytest.raises(Malformed):
        facts_of_manifests([(b"", doc)])


BEFORE = "2031-05-05"


def astray_shoot(audio: str, frames: int, *compared: f.Fact) -> Shoot:
    """A take whose backup was dated a day before, and two manifests."""
    shoot = Shoot()
    ours = shoot.recording(shoot.load(), reads=(None, None))
    backup = shoot.load(Role.BACKUP, "SND_B01")
    theirs = shoot.recording(
        backup, day=BEFORE, audio=audio, file="22", frames=frames, reads=(None, None)
    )
    loud = Sound(frames, audio * 16, b"")
    for one in (ours, theirs):
        heard = loud if one is theirs else replace(loud, frames=24_000, digest="aa" * 16)
        levels = packed([Channel("ab" * 16, b"", 1 << 30, 0.1, 0, 0, 0, 5, frames)] * 2)
        sound = replace(heard, coding=Coding.INTEGER, levels=levels)
        shoot.ledger.apply([f.WasMeasured(one.id, one.description, sound)])
    shoot.ledger.apply(compared)
    shoot.write(BEFORE)
    shoot.write(DAY)
    return shoot


def test_a_backup_of_another_day_comes_back() -> None:
    """It is named by its day and its bytes: it is in that day's manifest."""
    shoot = astray_shoot("aa", 24_000)
    (entry,) = shoot.docs[-1][1]["files"]
    assert entry["counterpart"] == {
        "relation": "same audio",
        "day": BEFORE,
        "card": "SND_B01",
        "path": "12A-T03.WAV",
        "sha256": "22" * 32,
    }
    rebuilt = same_days(shoot, BEFORE, DAY)
    codes = [x.code for x in judge(rebuilt, DAY, SETTINGS).findings]
    assert "backup-day-off" in codes
    assert "backup-missing" not in codes


SHORT = f.Compared(Comparison((2,), (4,), Relation.SHORT, NOON, 20_000, 4_000))


def test_what_was_compared_with_a_backup_of_another_day_comes_back() -> None:
    shoot = astray_shoot("bb", 20_000, SHORT)
    (told,) = shoot.docs[-1][1]["comparisons"]
    assert told["theirs"] == [
        {"day": BEFORE, "card": "SND_B01", "path": "12A-T03.WAV", "sha256": "22" * 32}
    ]
    assert "comparisons" not in shoot.docs[0][1]
    (known,) = same_days(shoot, BEFORE, DAY).comparisons.values()
    assert (known.frame, known.frames) == (20_000, 4_000)


def test_what_blocks_said_of_a_backup_of_another_day_comes_back() -> None:
    """No manifest holds blocks: the answer says what they told."""
    shoot = astray_shoot("bb", 20_000, SHORT)
    for number, (_, doc) in enumerate(shoot.docs):
        doc.pop("comparisons", None)
        shoot.docs[number] = (canonical(doc), doc)
    (known,) = same_days(shoot, BEFORE, DAY).comparisons.values()
    assert (known.relation, known.frame, known.frames) == (Relation.SHORT, 20_000, 4_000)


def test_a_backup_of_another_day_without_its_manifest_is_left_open() -> None:
    shoot = astray_shoot("bb", 20_000, SHORT)
    del shoot.docs[0]
    assert shoot.rebuilt().comparisons == {}
