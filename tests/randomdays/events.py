"""What may happen on a day, and how often: each event changes the world once, by chance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from randomdays.world import FAULTS, ROOM, SEEN, Card, World
from takehold.decide.judge import judge
from takehold.engine.requests import ack_text
from takehold.model.errors import WorldError
from takehold.model.finding import Severity
from takehold.model.volume import Root

MOST_DRIVES = 6
MOST_CARDS = 6


def _takes(world: World) -> None:
    for _ in range(world.chance.randrange(1, 5)):
        world.record_take()


def _card_in(world: World) -> None:
    for card in world.chance.sample(world.cards, world.chance.randrange(1, len(world.cards) + 1)):
        if not card.here:
            world.put_in(card)


def _card_out(world: World) -> None:
    for card in [c for c in world.cards if c.here and world.chance.random() < 0.6]:
        world.take_out(card)


def _some_card(world: World, *, here: bool) -> Card | None:
    fitting = [c for c in world.cards if c.here is here and c.truth]
    return world.chance.choice(fitting) if fitting else None


def _swap(world: World) -> None:
    """A card or drive gives its place to another, or to itself formatted, between two looks."""
    here = [x for x in (*world.cards, *world.drives) if x.here]
    if here:
        world.swap(world.chance.choice(here))


def _clone(world: World) -> None:
    """Somebody makes an image of a card and writes it to another: same label, same identity."""
    card = _some_card(world, here=False)
    if card is not None and len(world.cards) < MOST_CARDS:
        world.cards.append(world.clone(card))


def _format(world: World) -> None:
    card = _some_card(world, here=False)
    if card is not None:
        world.wipe(card)


def _edit(world: World) -> None:
    """The scene is corrected in the recorder: other bytes, the same length and audio."""
    card = _some_card(world, here=False)
    waves = [p for p in card.truth if p.endswith(b".WAV")] if card else []
    if card is not None and waves:
        path = world.chance.choice(waves)
        content = bytearray(card.truth[path])
        content[20 + 200] = world.chance.randrange(65, 90)  # in bext's description
        world.put_file(card, path, bytes(content), card.day_of.get(path))


def _record_over(world: World) -> None:
    """The same name gets other audio, on one card only."""
    card = _some_card(world, here=False)
    waves = [p for p in card.truth if p.endswith(b".WAV")] if card else []
    if card is not None and waves:
        audio = world.chance.randbytes(2 * world.chance.randrange(1, 300))
        path = world.chance.choice(waves)  # in which day depends on whether the first was seen
        world.put_file(card, path, world._wave("9Z", audio), None)


def _misread(world: World) -> None:
    card = _some_card(world, here=world.chance.random() < 0.4)
    if card is not None:
        path = world.chance.choice(sorted(card.truth))
        card.volume.flip[path] = world.chance.randrange(len(card.truth[path]))
        if not card.here:
            world.put_in(card)
        world.strike_after(world.chance.randrange(60), lambda: card.volume.flip.pop(path, None))
        world.work()
        card.volume.flip.pop(path, None)


def _drive_in(world: World) -> None:
    """Rarely one whose label another has that is in: the first of them is used."""
    for drive in world.drives:
        same = any(d.here and d.name == drive.name for d in world.drives)
        if not drive.here and world.chance.random() < (0.05 if same else 0.7):
            world.put_in(drive)


def _drive_out(world: World) -> None:
    for drive in world.drives:
        if drive.here and world.chance.random() < 0.3:
            world.take_out(drive)


def _new_drive(world: World) -> None:
    """A fresh drive, formatted alike, takes another's place."""
    old = world.chance.choice(world.drives)
    if len(world.drives) < MOST_DRIVES:
        for drive in world.drives:
            if drive.name == old.name and drive.here:
                world.take_out(drive)
        world.drives.append(world._new_drive(old.name))
        world.put_in(world.drives[-1])


def _drive_full(world: World) -> None:
    volume = world.chance.choice(world.drives).volume
    volume.capacity = sum(map(len, volume.files.values())) + world.chance.choice((0, 3000))


def _drive_has_room(world: World) -> None:
    for drive in world.drives:
        drive.volume.capacity = ROOM


def _drive_emptied(world: World) -> None:
    """Somebody deletes everything on a drive, or one file."""
    drive = world.chance.choice(world.drives)
    paths = sorted(drive.shadow)
    if paths and world.chance.random() < 0.7:
        paths = [world.chance.choice(paths)]
    for path in paths:
        drive.volume.remove(path)
        del drive.shadow[path]
        world.damaged.add((drive.id, path))


def _rot(world: World) -> None:
    """A byte of a copy turns over on its medium."""
    drive = world.chance.choice(world.drives)
    paths = [p for p in sorted(drive.shadow) if drive.shadow[p] and p.endswith(b".WAV")]
    if paths:
        path = world.chance.choice(paths)
        content = bytearray(drive.shadow[path])
        content[world.chance.randrange(len(content))] ^= 4
        drive.volume.files[path] = drive.shadow[path] = bytes(content)
        world.damaged.add((drive.id, path))


def _stranger(world: World) -> None:
    """Somebody else's file lies where a copy will want to go."""
    drive, card = world.chance.choice(world.drives), _some_card(world, here=False)
    if card is not None:
        path = world.chance.choice(sorted(card.truth))
        label = card.volume.root.volume.label.encode()
        place = b"Lantern Bay/" + world.today().encode() + b"/" + label + b"/" + path
        if place not in drive.volume.files:
            drive.volume.put(place, b"somebody else's")
            drive.shadow[place] = b"somebody else's"


def _drive_moods(world: World) -> None:
    if world.book.refuses is not None:
        return  # proofs wait to be recorded, and are judged by the drive's mood
    volume = world.chance.choice(world.drives).volume
    match world.chance.randrange(5):
        case 0:
            volume.lies = not volume.lies
        case 1:
            volume.flip_parts = world.chance.choice((None, 3))
        case 2:
            volume.seen = world.chance.choice(SEEN)
        case 3:
            volume.durable = not volume.durable
        case _:
            about = replace(volume.root.volume, read_only=not volume.root.volume.read_only)
            volume.root = Root(volume.root.path, about, volume.root.identity)
            volume.read_only = about.read_only


def _call_fails(world: World) -> None:
    """Some call fails once."""
    volume = world.chance.choice([x.volume for x in (*world.drives, *world.cards)])
    ops = ("list", "open", "read_at", "read", "part", "reserve", "write", "flush", "reader")
    ops += ("keep", "settle", "stamp_of", "free", "sweep")
    kind = world.chance.choice(FAULTS)
    volume.fail_next(world.chance.choice(ops), kind("It failed, for the exercise."))


def _strikes(world: World, strike: Callable[[], None]) -> None:
    """Something happens in the middle of the work; often there is some to do."""
    if world.chance.random() < 0.5:
        world.record_take()
        _card_in(world)
    world.strike_after(world.chance.randrange(120), strike)
    world.work()


def _yanked(world: World) -> None:
    """A card or drive is pulled in the middle of the work."""

    def yank() -> None:
        here = [x for x in (*world.drives, *world.cards) if x.here]
        if here:
            world.take_out(world.chance.choice(here))

    _strikes(world, yank)


def _power_cut(world: World) -> None:
    _strikes(world, world.cut_power)


def _restart(world: World) -> None:
    """The program is asked to end, mostly in the middle of its work, and starts again."""
    _strikes(world, world.ask_to_end)


def _listing_breaks(world: World) -> None:
    volume = world.chance.choice(world.cards).volume
    volume.complete = not volume.complete


def _clock_jumps(world: World) -> None:
    world.clock.off = timedelta(hours=world.chance.choice((0, 0, -20, -1, 1, 20)))


def _sleep(world: World) -> None:
    """The lid is closed in the middle of the work: wall time goes on, steady time does not.

    What is in when it wakes may be another card or drive than before.
    """

    def sleep() -> None:
        world.clock.sleep(world.chance.choice((20, 3600, 5 * 3600)))
        here = [x for x in (*world.cards, *world.drives) if x.here]
        if here and world.chance.random() < 0.6:
            world.swap(world.chance.choice(here))

    _strikes(world, sleep)


def _catalogue_refuses(world: World) -> None:
    full = WorldError("The catalogue takes nothing.")
    world.book.refuses = None if world.book.refuses else full


def _wrap(world: World) -> None:
    days = sorted({*(d for d, ids in world.book.known.of_day.items() if ids), world.today()})
    if world.book.refuses is None:
        world.book.ask("wrap", world.chance.choice(days), world.clock.now())


def _recheck(world: World) -> None:
    if world.book.refuses is None:
        names = ("", *(d.name for d in world.settings.destinations))
        world.book.ask("recheck", world.chance.choice(names), world.clock.now())


def decide(world: World) -> None:
    """A person looks at all that was found, says that it is well, and wraps."""
    if world.book.refuses is not None:
        return
    known, now = world.book.known, world.clock.now()
    for day in sorted({r.day for r in known.recordings.values()}):
        for finding in judge(known, day, world.settings, world.engine.now.around).findings:
            if finding.severity is Severity.LOOK and finding.id not in known.acks:
                world.book.ask("ack", ack_text(finding.id, "seen"), now)
        world.book.ask("wrap", day, now)


EVENTS: dict[Callable[[World], None], int] = {
    _takes: 12,
    _card_in: 14,
    _card_out: 6,
    _swap: 4,
    _clone: 1,
    _format: 2,
    _edit: 3,
    _record_over: 2,
    _misread: 3,
    _drive_in: 10,
    _drive_out: 3,
    _new_drive: 1,
    _drive_full: 2,
    _drive_has_room: 2,
    _drive_emptied: 2,
    _rot: 2,
    _stranger: 2,
    _drive_moods: 3,
    _call_fails: 5,
    _yanked: 4,
    _power_cut: 5,
    _restart: 3,
    _listing_breaks: 1,
    _clock_jumps: 2,
    _sleep: 4,
    _catalogue_refuses: 1,
    _wrap: 5,
    _recheck: 2,
    decide: 6,
}
