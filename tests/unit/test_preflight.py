"""`takehold preflight` on small stand-ins of the mount table and the disk."""

from contextlib import contextmanager
from datetime import UTC, datetime

import pytest

from takehold.adapters.signer import new_key
from takehold.cli.preflight import preflight
from takehold.model.errors import NoRights, VolumeReadOnly
from takehold.model.recording import Seen
from takehold.model.settings import Destination, Expect, Role, Settings, Source
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent

GB = 10**9
NOW = datetime(2026, 5, 4, 7, 0, tzinfo=UTC)


def volume(label, number, kind="exfat", disks=None):
    mount = b"/media/" + label.encode()
    behind = frozenset({f"disk-{number}"}) if disks is None else frozenset(disks)
    return Volume(mount, f"m{number}", f"8:{number}", label, f"uuid:{number}", kind, behind)


class Mounts:
    """The mount table: volumes, and folders by their path."""

    def __init__(self, *volumes, folders=None):
        self.volumes = volumes
        self.folders = folders or {}
        self.asked = []

    def silent(self):
        return ()

    def mounted(self):
        return self.volumes

    def root(self, volume, folder=b""):
        return Root(volume.mount + (b"/" + folder if folder else b""), volume, volume.identity)

    def folder(self, path, known_identity):
        self.asked.append((path, known_identity))
        found = self.folders.get(path)
        return Root(path, found, found.identity) if found else Absent("The folder is not there.")


class Drives:
    """Every drive: `wrong` by mount point raises, `free` is what each has left."""

    def __init__(self, free=100 * GB, wrong=None, damages=False, durable=True, seen=Seen.MEDIUM):
        self.free, self.wrong, self.damages = free, wrong or {}, damages
        self.durable, self.cached = durable, seen
        self.opened = []
        self.parts = 0

    @contextmanager
    def source(self, root):
        self._open(root)
        yield self

    @contextmanager
    def destination(self, root):
        self._open(root)
        yield self

    def _open(self, root):
        self.opened.append(root.path)
        if root.path in self.wrong:
            raise self.wrong[root.path]

    def free_bytes(self):
        return self.free

    def part(self, folder):
        assert folder == b""
        self.parts += 1
        self.content = b""
        return self

    def write(self, buffer, offset):
        assert offset == 0
        self.content = bytes(buffer)

    def flush(self, size):
        assert size == len(self.content)
        return self.durable

    @contextmanager
    def reader(self):
        yield self

    def read_into(self, buffer, offset):
        assert offset == 0
        buffer[:] = b"x" * len(self.content) if self.damages else self.content
        return len(self.content)

    def seen(self, size):
        assert size
        return self.cached

    def drop(self):
        self.parts -= 1


SETTINGS = Settings(
    "Lantern Bay",
    (
        Source("primary", Role.PRIMARY, label="SND_A*"),
        Source("backup", Role.BACKUP, label="SND_B*"),
    ),
    (
        Destination("one", label="SHUTTLE_1", folder=b"audio"),
        Destination("two", path=b"/srv/audio"),
    ),
)
DRIVE, RAID = volume("SHUTTLE_1", 1), volume("", 2, kind="ext4")
CARD = volume("SND_A1", 3)
MOUNTS = Mounts(DRIVE, RAID, CARD, folders={b"/srv/audio": RAID})


@pytest.fixture
def look(tmp_path):
    key = str(tmp_path / "key")
    new_key(key.encode())

    def rows(settings=SETTINGS, mounts=MOUNTS, drives=None, now=NOW, key_path=key):
        disk = drives or Drives()
        found = preflight(settings, mounts, disk, {"two /srv/audio": "known"}.get, key_path, now)
        assert disk.parts == 0
        assert all(row.ok or row.do for row in found)
        return {row.what: row for row in found}

    return rows


def test_a_laptop_that_is_fit(look):
    rows = look()
    assert all(row.ok for row in rows.values())
    assert list(rows) == [
        *("config", "key", "clock", "destination one", "destination two", "separate disks"),
        *("source primary", "source backup"),
    ]
    assert rows["source primary"].says == "in: /media/SND_A1"
    assert rows["source backup"].says.startswith("not in yet")
    assert [rows[f"source {name}"].mark for name in ("primary", "backup")] == ["fit", "-"]
    assert rows["key"].says.startswith("SHA256:")
    assert rows["destination one"].says.startswith("/media/SHUTTLE_1/audio: ")
    assert (b"/srv/audio", "known") in MOUNTS.asked


def test_the_room_is_told_in_hours_of_eight_tracks(look):
    """8 tracks * 48000 samples * 3 bytes * 3600 s = 4,147,200,000 bytes an hour, by hand."""
    rows = look(drives=Drives(free=500 * 10**6 + 4_147_200_000 * 5 // 2))
    assert "10.9 GB free, room for 2 h 30 min of 8 tracks" in rows["destination one"].says


@pytest.mark.parametrize(("minutes", "fit"), [(119, False), (120, True)])
def test_less_than_two_hours_of_room_is_not_fit(look, minutes, fit):
    """4,147,200,000 bytes an hour, as above."""
    free = 500 * 10**6 + 4_147_200_000 * minutes // 60
    row = look(drives=Drives(free=free))["destination one"]
    assert (row.ok, row.mark) == (fit, "fit" if fit else "NOT")
    assert bool(row.do) is not fit


def test_the_room_follows_what_the_day_is_set_up_for(look):
    expect = Expect(sample_rate=96_000, bit_depth=32)
    settings = Settings("Bay", SETTINGS.sources, SETTINGS.destinations, expect=expect)
    rows = look(settings, drives=Drives(free=500 * 10**6 + 8 * 96_000 * 4 * 3600))
    assert "1 h 00 min of 8 tracks of 96 kHz, 32 bit" in rows["destination one"].says


def test_a_drive_with_no_more_than_its_reserve_is_not_fit(look):
    row = look(drives=Drives(free=500 * 10**6))["destination one"]
    assert not row.ok
    assert "500 MB free" in row.says


def test_an_absent_drive_and_an_absent_folder_are_not_fit(look):
    rows = look(mounts=Mounts(CARD))
    assert not rows["destination one"].ok
    assert 'no volume has the label "SHUTTLE_1"' in rows["destination one"].says
    assert rows["destination two"].says == "The folder is not there."
    assert not rows["separate disks"].ok


def test_a_drive_that_takes_no_writes_is_told_and_the_others_are_looked_at(look):
    wrong = {b"/srv/audio": VolumeReadOnly("The drive is read-only.", "Unlock it.")}
    rows = look(drives=Drives(wrong=wrong))
    row = rows["destination two"]
    assert (row.ok, row.says, row.do) == (False, "The drive is read-only.", "Unlock it.")
    assert rows["destination one"].ok


def test_a_drive_that_gives_back_other_bytes_is_not_fit(look):
    assert "came back changed" in look(drives=Drives(damages=True))["destination one"].says


def test_what_a_drive_cannot_promise_is_said_and_does_not_stop(look):
    row = look(drives=Drives(durable=False, seen=Seen.UNKNOWN))["destination one"]
    assert row.ok
    assert "cannot promise" in row.says
    assert "past the cache" in row.says


def test_memory_counts_for_nothing_and_is_not_probed(look):
    memory = volume("", 9, kind="tmpfs", disks=())
    drives = Drives()
    rows = look(mounts=Mounts(DRIVE, memory, folders={b"/srv/audio": memory}), drives=drives)
    assert not rows["destination two"].ok
    assert "memory (tmpfs)" in rows["destination two"].says
    assert b"/srv/audio" not in drives.opened
    assert rows["separate disks"].says.startswith("1 separate disks")
    assert not rows["separate disks"].ok


def test_two_destinations_on_one_disk_count_once(look):
    other = volume("", 2, kind="ext4", disks={"disk-1"})
    rows = look(mounts=Mounts(DRIVE, other, folders={b"/srv/audio": other}))
    assert rows["destination two"].ok
    assert not rows["separate disks"].ok


def test_two_volumes_that_answer_one_label_are_not_fit(look):
    rows = look(mounts=Mounts(DRIVE, CARD, volume("SND_A2", 4), volume("SHUTTLE_1", 5)))
    assert not rows["source primary"].ok
    assert "/media/SND_A1, /media/SND_A2" in rows["source primary"].says
    assert not rows["destination one"].ok
    assert "2 volumes answer" in rows["destination one"].says


@pytest.mark.parametrize(
    "to", [Destination("one", label="SND_A1"), Destination("one", path=b"/media/SND_A1/copies")]
)
def test_a_card_is_not_probed_as_a_destination(look, to):
    """P1: nothing is ever written to a card, not even to try it."""
    mounts = Mounts(DRIVE, CARD, folders={b"/media/SND_A1/copies": CARD})
    settings = Settings("Bay", SETTINGS.sources[:1], (to,), copies_required=1)

    class Untouched(Drives):
        def destination(self, root):
            raise AssertionError(root)

    row = look(settings, mounts, Untouched())["destination one"]
    assert not row.ok
    assert "answers to source primary" in row.says


@pytest.mark.parametrize(
    ("copies", "card", "fit"),
    [
        (b"/media/DESK/copies", b"/media/DESK", False),
        (b"/media/DESK", b"/media/DESK/in", False),
        (b"/media/DESK/copies", b"/media/DESK/in", True),
    ],
)
def test_a_destination_in_a_source_that_has_a_path_is_not_probed(look, copies, card, fit):
    """P1, and the other way round: what is copied must not be met again as new."""
    desk = volume("DESK", 4)
    settings = Settings(
        "Bay",
        (Source("desk", Role.PRIMARY, path=card),),
        (Destination("one", path=copies),),
        copies_required=1,
    )
    drives = Drives()
    row = look(settings, Mounts(desk, folders={copies: desk, card: desk}), drives)
    assert row["destination one"].ok is fit
    assert (copies in drives.opened) is fit


def test_a_folder_on_the_laptops_own_disk_is_told(look, tmp_path):
    """The drive that is meant may not be mounted yet; it may be what is meant, too."""
    own = volume("", 2, kind="ext4")
    folders = {b"/srv/audio": own, str(tmp_path).encode(): own}
    row = look(mounts=Mounts(DRIVE, own, folders=folders))["destination two"]
    assert (row.ok, "the laptop's own disk" in row.says) == (True, True)
    assert "mount that drive" in row.do
    assert "own disk" not in look()["destination two"].says


def test_a_destination_on_the_disk_of_a_card_is_not_fit(look):
    """P5: another partition of the card is the same thing to lose."""
    beside = volume("SHUTTLE_1", 7, disks=CARD.disks)
    row = look(mounts=Mounts(beside, CARD, folders={}))["destination one"]
    assert not row.ok
    assert "same disk as the card of source primary" in row.says


def test_a_card_that_may_not_be_read_is_told(look):
    wrong = {b"/media/SND_A1": NoRights("The system does not let this user read it.")}
    assert not look(drives=Drives(wrong=wrong))["source primary"].ok


def test_a_missing_key_and_a_key_open_to_others(look, tmp_path):
    assert not look(key_path=str(tmp_path / "none"))["key"].ok
    (tmp_path / "key").chmod(0o644)
    assert not look()["key"].ok


def test_a_clock_that_was_never_set(look):
    assert not look(now=datetime(2000, 1, 1, tzinfo=UTC))["clock"].ok


def test_a_hostile_label_is_shown_escaped(look):
    mounts = Mounts(volume("SND_A\x1b", 3), volume("SND_A2", 4))
    assert look(mounts=mounts)["source primary"].says.isprintable()
