"""What may happen on a real day, and how often."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from cardmaker import take
from faultlab.checker import finals
from faultlab.lab import holding
from loopbench import run
from randomdays.real_world import FILLER, RealWorld, Thing, sha

KEPT_UUID = {"ext4": "b1c2d3e4-0000-4000-8000-123456789abc", "exfat": "EB87-E13D"}
MEGABYTE = 1 << 20
MOST_CARDS = 5


def _out(world: RealWorld, things: list[Thing], *, here: bool) -> Thing | None:
    fitting = [t for t in things if t.here is here]
    return world.chance.choice(fitting) if fitting else None


def _in_recorder(world: RealWorld) -> Thing | None:
    """A card with takes that is in the recorder; if there is none, one is taken there."""
    full = [card for card in world.cards if card.truth]
    out = [card for card in full if not card.here]
    if not full:
        return None
    card = world.chance.choice(out or full)
    if card.here:
        world.take_out(card)
    return card


def _new_take(world: RealWorld) -> tuple[Thing | None, str]:
    """A take that the laptop has not seen, and its card, which is in the recorder."""
    card = _in_recorder(world)
    world.record_take()
    if card is None or not card.truth:
        return None, ""
    return card, max(card.truth, key=lambda path: path.partition("T")[2])


def takes(world: RealWorld) -> None:
    for _ in range(world.chance.randrange(1, 4)):
        world.record_take()


def _cards_in(world: RealWorld) -> None:
    for card in world.cards:
        if not card.here and world.chance.random() < 0.8:
            world.put_in(card)


def _cards_out(world: RealWorld) -> None:
    for card in world.cards:
        if card.here and world.chance.random() < 0.8:
            world.take_out(card)


def drives_in(world: RealWorld) -> None:
    for drive in world.drives:
        if not drive.here:
            world.put_in(drive)


def _drive_out(world: RealWorld) -> None:
    drive = _out(world, world.drives, here=True)
    if drive is not None:
        world.take_out(drive)


def _yank(world: RealWorld) -> None:
    """A card or drive is pulled, in the middle of the work if there is any."""
    thing = _out(world, [*world.cards, *world.drives], here=True)
    if thing is not None:
        world.done["pulled"] += 1
        world.take_out(thing, pull=True)


def _power_cut(world: RealWorld) -> None:
    """A drive's power ends in the middle of the work; what it had not flushed is lost, or half."""
    drive = _out(world, world.drives, here=True)
    if drive is None or _is_read_only(drive):
        return
    _flush(drive)
    drive.disk.set(volatile=[1])
    card = _out(world, world.cards, here=False)
    if card is not None and card.truth:
        world.put_in(card)
    if world.chance.random() < 0.5:
        world.breathe()
    world.done["power cut"] += 1
    drive.disk.power_cut(world.chance.choice((None, world.chance.randrange(99))))
    before, kept = drive.stood, drive.settled
    drive.stood = {p: b for p, b in before.items() if p in kept}  # the rest was not promised yet
    world.put_in(drive)


def _format(world: RealWorld) -> None:
    card = _out(world, world.cards, here=False)
    if card is not None:
        world.done["formatted"] += 1
        world.wipe(card, KEPT_UUID[card.fs] if world.chance.random() < 0.5 else None)


def _swap(world: RealWorld) -> None:
    """A card comes out and another of its kind goes in, at once."""
    card = _out(world, world.cards, here=True)
    other = _out(world, world.cards, here=False)
    if card is not None and other is not None:
        world.done["swapped"] += 1
        world.take_out(card, pull=True)
        world.put_in(other)


def _clone(world: RealWorld) -> None:
    """An image of a card is written to another: same label, same identity."""
    card = _out(world, world.primaries, here=False)
    if card is not None and card.truth and len(world.cards) < MOST_CARDS:
        world.done["cloned"] += 1
        world.primaries.append(world.clone(card))


def _edit(world: RealWorld) -> None:
    """The note is changed in the recorder: bext stays, iXML is longer, the audio is the same."""
    card = _in_recorder(world)
    if card is not None:
        path = world.chance.choice(sorted(card.truth))
        if path not in card.day_of:  # recorded over: another take than its name says
            return
        scene, number = int(path[7:9]), int(path[10:12])
        note, day = f"circled {world.chance.randrange(99):02}", card.day_of[path]
        for seconds in (0.1, 0.3, 4.0):
            content = take(scene, number, seconds=seconds, channels=1, day=day, note=note)
            if _audio(content) == _audio(card.truth[path]):
                world.done["edited"] += 1
                world.write(card, {path: content})
                card.day_of[path] = day


def _audio(content: bytes) -> bytes:
    return content[content.find(b"data") + 8 :]


def _record_over(world: RealWorld) -> None:
    """The same name gets other audio, on one card only."""
    card = _in_recorder(world)
    if card is not None:
        path = world.chance.choice(sorted(card.truth))
        sound = world.chance.randrange(1, 99)
        content = take(9, 1, seconds=0.2, channels=1, day=world.day, sound=sound)
        world.done["recorded over"] += 1
        world.write(card, {path: content})
        card.day_of.pop(path)  # in which day it is depends on whether the first was seen


def _misread(world: RealWorld) -> None:
    """A card gives one bit wrong, once."""
    card, path = _new_take(world)
    if card is not None:
        content = card.truth[path]
        world.put_in(card)
        spot = holding(content)
        world.done["misread"] += 1
        card.disk.set(flip_once=[spot])
        world.given |= _flipped(content, spot)
        world.breathe()
        card.disk.mend()


def _flipped(content: bytes, spot: dict[str, str]) -> dict[str, bytes]:
    at = content.find(bytes.fromhex(spot["holds"]))
    wrong = content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]
    return {sha(wrong): wrong}


def _medium_fails(world: RealWorld) -> None:
    """A drive does not store a sector of one file: it says so, or not."""
    drive, (card, path) = _out(world, world.drives, here=True), _new_take(world)
    if drive is not None and card is not None:
        content = card.truth[path]
        lies = world.chance.random() < 0.5
        world.done["medium failed"] += 1
        drive.disk.set(**{"drop_writes" if lies else "write_error": [holding(content)]})
        world.put_in(card)
        world.breathe()
        drive.disk.mend()


def _full(world: RealWorld) -> None:
    """Somebody fills a drive, but for a little."""
    drive = _out(world, world.drives, here=True)
    if drive is None or _is_read_only(drive) or (drive.mount / FILLER).exists():
        return
    free = os.statvfs(drive.mount)
    size = free.f_bavail * free.f_frsize - world.chance.choice((0, MEGABYTE, 2 * MEGABYTE))
    world.done["full"] += 1
    filler = drive.mount / FILLER
    if drive.fs == "exfat":
        run(
            "dd",
            "if=/dev/zero",
            f"of={filler}",
            f"bs={MEGABYTE}",
            f"count={size >> 20}",
            check=False,
        )
    else:
        run("fallocate", "-l", str(max(size, 4096)), filler, check=False)


def emptied(world: RealWorld) -> None:
    """There is room again on every drive."""
    for drive in world.drives:
        if drive.here and not _is_read_only(drive):
            (drive.mount / FILLER).unlink(missing_ok=True)


def _removed(world: RealWorld) -> None:
    """Somebody removes a copy."""
    drive, path = _some_copy(world)
    if drive is not None:
        world.done["copy removed"] += 1
        (drive.mount / path).unlink()
        _flush(drive)
        drive.damaged.add(path)


def _rot(world: RealWorld) -> None:
    """A byte of a copy turns over on the medium, behind the cache.

    Not on btrfs, whose own checksum makes a read error of it: the checker could not read it either.
    """
    drive, path = _some_copy(world)
    if drive is None or drive.fs == "btrfs":
        return
    content = drive.stood[path]
    at = drive.disk.image.read_bytes().find(content[-2048:])
    if at >= 0:
        world.done["rotten"] += 1
        twins = [p for p, raw in drive.stood.items() if raw[-2048:] == content[-2048:]]
        drive.damaged |= set(twins)  # of the same sound: which of them lies there is not known
        with drive.disk.image.open("r+b") as image:
            image.seek(at + 100)
            image.write(bytes([content[-2048 + 100] ^ 4]))


def _some_copy(world: RealWorld) -> tuple[Thing | None, str]:
    drive = _out(world, world.drives, here=True)
    if drive is None or _is_read_only(drive):
        return None, ""
    world.drive_kept(drive)
    paths = sorted(p for p in finals(drive.mount) if p in drive.stood and p.endswith(".WAV"))
    return (drive, world.chance.choice(paths)) if paths else (None, "")


def _stranger(world: RealWorld) -> None:
    """Somebody else's file lies where a copy will want to go."""
    drive, (card, path) = _out(world, world.drives, here=True), _new_take(world)
    if drive is None or card is None or _is_read_only(drive):
        return
    place = Path("Lantern Bay", world.day, card.label, path)
    at = drive.mount / place
    if not at.exists() and not (drive.mount / FILLER).exists():
        world.done["stranger"] += 1
        at.parent.mkdir(parents=True, exist_ok=True)
        at.write_bytes(b"somebody else's")
        drive.stood[str(place)] = b"somebody else's"
        drive.settled.add(str(place))
        _flush(drive)


def _flush(drive: Thing) -> None:
    """Store what was written; an error of before, which it may tell, is not its own."""
    run("sync", "--file-system", drive.mount, check=False)


def _is_read_only(drive: Thing) -> bool:
    return bool(os.statvfs(drive.mount).f_flag & os.ST_RDONLY)


def _read_only(world: RealWorld) -> None:
    """A drive turns read-only, or takes writes again."""
    drive = _out(world, world.drives, here=True)
    if drive is None or drive.fs == "exfat":
        return
    world.done["read-only or not"] += 1
    how = "remount,rw" if _is_read_only(drive) else "remount,ro"
    run("mount", "-o", how, drive.mount, check=False)  # refused while a file is being written


def writable(world: RealWorld) -> None:
    """Every drive that is in takes writes."""
    for drive in world.drives:
        if drive.here and _is_read_only(drive):
            run("mount", "-o", "remount,rw", drive.mount)


def _restart(world: RealWorld) -> None:
    world.done["restarted"] += 1
    world.shut()
    world.boot()


def _killed(world: RealWorld) -> None:
    world.done["killed"] += 1
    world.shut(kill=True)
    world.boot()


def _by_hand(world: RealWorld) -> None:
    """For a while there is no daemon: the mixer works with single commands."""
    world.shut(kill=world.chance.random() < 0.3)
    world.command("once")


def _daemon(world: RealWorld) -> None:
    world.boot()


def _wrap(world: RealWorld) -> None:
    world.command("wrap", world.chance.choice(world.days))


def _status(world: RealWorld) -> None:
    world.command(*world.chance.choice((("status",), ("card",), ("day",), ("recheck",))))


def decide(world: RealWorld) -> None:
    """A person looks at all that was found, says that it is well, and wraps."""
    for day in world.days:
        if world.command("day", day).returncode > 1:
            continue
        for finding in world.laptop.facts("day", day)["findings"]:
            if finding["severity"] == "look" and finding["decision"] is None:
                world.command("ack", finding["id"], "--note", "seen, and well")
        world.command("wrap", day)


EVENTS: dict[Callable[[RealWorld], None], int] = {
    takes: 12,
    _cards_in: 14,
    _cards_out: 8,
    drives_in: 8,
    _drive_out: 2,
    _yank: 6,
    _power_cut: 3,
    _format: 2,
    _swap: 3,
    _clone: 3,
    _edit: 5,
    _record_over: 2,
    _misread: 5,
    _medium_fails: 4,
    _full: 4,
    emptied: 2,
    _removed: 2,
    _rot: 5,
    _stranger: 4,
    _read_only: 4,
    _restart: 2,
    _killed: 3,
    _by_hand: 1,
    _daemon: 4,
    _wrap: 3,
    _status: 2,
    decide: 1,
}
