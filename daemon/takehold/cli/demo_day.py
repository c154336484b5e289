"""A made-up shooting day on two cards: real BWF poly files of an invented production.

The backup card lacks the third take, and on the primary card the fourth take's header was never
finished: what a day looks like when a hand is needed. `mend` is that hand.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from takehold.formats.bwf_file import bwf, bwf_header
from takehold.model.errors import UsageError, WorldError
from takehold.model.sound import Metadata, Rate, Track, WaveFormat

PRODUCTION = "Lantern Bay"
PRIMARY = "SND_A1"
BACKUP = "SND_B1"
DRIVES = ("SHUTTLE_1", "SHUTTLE_2")

FORMAT = WaveFormat(tag=1, channels=4, sample_rate=48_000, bits=24, block_align=12)
RATE = Rate(24_000, 1_001)
FRAME_SAMPLES = 2_002  # 48000 * 1001 / 24000 (SMPTE ST 12-1 labels, counted exactly)
TRACKS = ("Mix", "Boom", "Keeper", "Pilot")
# Hz; the mix holds all of the others.
TONES = (None, 220.0, 330.0, 495.0)

NOTES = """LANTERN BAY, unit main, sound roll {roll}

Scene 1: harbour wall, wind from the sea. T2 circled.
Scene 2: lamp room. T1: the recorder lost power at the end of the take.
"""


@dataclass(frozen=True, slots=True)
class DemoTake:
    """One take. `start` is its first frame's label, `seconds` of sound follow."""

    scene: str
    take: str
    start: time
    seconds: int
    circled: bool = False
    note: str = ""

    @property
    def path(self) -> str:
        """The file's place on a card."""
        return f"DAY01/S{int(self.scene):02}T{int(self.take):02}.WAV"

    @property
    def frames(self) -> int:
        """Sample frames."""
        return self.seconds * FORMAT.sample_rate

    def end(self, day: date) -> datetime:
        """When it ended, by the recorder's clock."""
        return datetime.combine(day, self.start).astimezone() + timedelta(seconds=self.seconds)

    @property
    def time_reference(self) -> int:
        """Samples since midnight of the label, frame 00, at 23.976 non-drop."""
        seconds = (self.start.hour * 60 + self.start.minute) * 60 + self.start.second
        return seconds * 24 * FRAME_SAMPLES


TAKES = (
    DemoTake("1", "1", time(9, 12, 10), 3),
    DemoTake("1", "2", time(9, 20, 42), 4, circled=True),
    DemoTake("1", "3", time(9, 31, 5), 2, note="plane at the end"),
    DemoTake("2", "1", time(11, 4, 30), 6),
    DemoTake("2", "2", time(11, 15, 0), 5, circled=True),
)
LATE = TAKES[2]
UNFINISHED = TAKES[3]


@dataclass(frozen=True, slots=True)
class DemoDay:
    """Where it stands: two card folders, two empty drive folders, and what was recorded."""

    folder: str
    day: date
    primary: str
    backup: str
    drives: tuple[str, ...]
    takes: tuple[DemoTake, ...] = TAKES

    @property
    def ends(self) -> datetime:
        """When its last take ended, by the recorder's clock."""
        return max(take.end(self.day) for take in self.takes)


def make_cards(folder: str, day: date) -> DemoDay:
    """Make the cards and the drives below `folder`, which is made too.

    The same day gives the same bytes. Raises UsageError if one of them is there already, WorldError
    if the folder takes no files.
    """
    demo = DemoDay(
        folder=folder,
        day=day,
        primary=os.path.join(folder, PRIMARY),
        backup=os.path.join(folder, BACKUP),
        drives=tuple(os.path.join(folder, drive) for drive in DRIVES),
    )
    with _plain_faults(folder):
        os.makedirs(folder, exist_ok=True)
        for place in (demo.primary, demo.backup, *demo.drives):
            os.mkdir(place)
        for card in (demo.primary, demo.backup):
            _paperwork(card, day)
        for take in TAKES:
            whole = _file(take, day)
            first = _cut_short(whole, take, day) if take is UNFINISHED else whole
            _put(demo.primary, take, day, first)
            if take is not LATE:
                _put(demo.backup, take, day, whole)
    return demo


def mend(demo: DemoDay) -> None:
    """Do what the recorder does next: mirror the late take, and finish the open header in place."""
    with _plain_faults(demo.folder):
        _put(demo.backup, LATE, demo.day, _file(LATE, demo.day))
        finished = _header(UNFINISHED, demo.day)
        path = os.path.join(demo.primary, UNFINISHED.path)
        with open(path, "r+b") as file:
            file.write(finished)
        _date(path, UNFINISHED.end(demo.day) + timedelta(minutes=5))


def metadata(take: DemoTake, day: date) -> Metadata:
    """What the take's file says of itself."""
    number = TAKES.index(take) + 1
    return Metadata(
        project=PRODUCTION,
        scene=take.scene,
        take=take.take,
        tape=f"{day:%y%m%d}",
        circled=take.circled,
        note=take.note,
        originator="demo recorder",
        description=f"{PRODUCTION}, scene {take.scene}, take {take.take}",
        date=f"{day:%Y-%m-%d}",
        time=f"{take.start:%H:%M:%S}",
        time_reference=take.time_reference,
        timecode_rate=RATE,
        timestamp_sample_rate=FORMAT.sample_rate,
        file_uid=f"DEMO{day:%Y%m%d}{number:04}",
        family_uid=f"DEMO{day:%Y%m%d}{number:04}",
        total_files=1,
        set_index="A",
        ubits=f"{day:%d%m%Y}",
        tracks=tuple(Track(at, at, name) for at, name in enumerate(TRACKS, start=1)),
    )


def payload(take: DemoTake) -> bytes:
    """Interleaved 24-bit little-endian samples: a tone a track, swelling, over a little noise."""
    import numpy as np

    frames = take.frames
    clock = np.arange(frames) / FORMAT.sample_rate
    swell = 0.1 + 0.15 * np.sin(np.pi * clock / take.seconds) ** 2
    dice = np.random.default_rng(take.time_reference)
    tracks = dice.normal(0.0, 0.001, (frames, FORMAT.channels))
    for channel, tone in enumerate(TONES):
        if tone is not None:
            tracks[:, channel] += swell * np.sin(2 * np.pi * tone * clock)
    tracks[:, 0] += tracks[:, 1:].sum(axis=1) / 3
    samples = (tracks * 0x7FFFFF).astype("<i4")
    return samples.view(np.uint8).reshape(frames, FORMAT.channels, 4)[:, :, :3].tobytes()


def _file(take: DemoTake, day: date) -> bytes:
    return bwf(FORMAT, metadata(take, day), payload(take))


def _header(take: DemoTake, day: date) -> bytes:
    return bwf_header(FORMAT, metadata(take, day), take.frames * FORMAT.block_align)


def _cut_short(whole: bytes, take: DemoTake, day: date) -> bytes:
    """The file as a recorder leaves it that lost power: both sizes, RIFF's and `data`'s, are 0."""
    header = bytearray(_header(take, day))
    header[4:8] = header[-4:] = bytes(4)
    return bytes(header) + whole[len(header) :]


def _put(card: str, take: DemoTake, day: date, content: bytes) -> None:
    path = os.path.join(card, take.path)
    _write(path, content)
    _date(path, take.end(day))


def _paperwork(card: str, day: date) -> None:
    """What else lies on a card: a mixer's notes, and what a desktop leaves behind."""
    notes = os.path.join(card, "NOTES.TXT")
    _write(notes, NOTES.format(roll=f"{day:%y%m%d}").encode("ascii"))
    _date(notes, TAKES[-1].end(day))
    _write(os.path.join(card, ".DS_Store"), b"\x00\x00\x00\x01Bud1")
    folder, name = os.path.split(TAKES[0].path)
    # The first words of an AppleDouble file (RFC 1740): its name ends like a recording's.
    _write(os.path.join(card, folder, f"._{name}"), bytes.fromhex("0005160700020000"))


def _write(path: str, content: bytes) -> None:
    os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "xb") as file:
        file.write(content)


def _date(path: str, when: datetime) -> None:
    os.utime(path, (when.timestamp(), when.timestamp()))


@contextmanager
def _plain_faults(folder: str) -> Iterator[None]:
    try:
        yield
    except FileExistsError as fault:
        raise UsageError(
            f"The demo stopped in {folder!r}: {os.path.basename(fault.filename)!r} is there "
            "already and was left alone.",
            do="Name an empty folder.",
        ) from fault
    except OSError as fault:
        raise WorldError(
            f"The demo could not write in {folder!r}: {fault.strerror}.",
            do="Name a folder on a drive that has 50 MB free and may be written to.",
        ) from fault
