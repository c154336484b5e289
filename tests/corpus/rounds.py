"""What is planted beside the takes: other cards, a report, other days, and what comes later.

Each function has a scene of three plain takes, which it may put on the cards as it likes.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from datetime import date, timedelta

from cardmaker import today
from corpus.damage import PLAIN_MP3
from corpus.day import FIRST, Day, Take, a_take, plain, whole
from corpus.plants import encoded, monos, parts
from corpus.wavs import RATE, file_of, packed, voices

Scene = Sequence[Take]
CARDS = ("primary", "backup")
YESTERDAY = (date.fromisoformat(today()) - timedelta(days=1)).isoformat()


def again(day: Day, card: str, take: Take, content: bytes) -> None:
    """A file is written again, an hour later."""
    day.put(card, take.name, content, take.said.start + 3600 * RATE)


def edited_later(day: Day, scene: Scene) -> None:
    """The recorder changed a note in a file that was copied, on both cards."""
    for take in scene:
        plain(day, take)
    changed = scene[1]
    for card in CARDS:
        day.owed("edited", f"{card}/DAY01/{changed.name}")
    content = whole(day, changed, note="the good one", circled=True)
    day.later.append(lambda: [again(day, card, changed, content) for card in CARDS])


def name_used_again(day: Day, scene: Scene) -> None:
    """The same name holds another take now, on both cards: both recordings stay."""
    for take in scene:
        plain(day, take)
    old = scene[1]
    new = Take(old.name, old.said.but(uid="AGAIN", family=""), voices(day.dice, 90_000, 3))
    for card in CARDS:
        day.owed("other-audio", f"{card}/DAY01/{old.name}")
    day.later.append(lambda: [again(day, card, new, whole(day, new)) for card in CARDS])


def comes_later(day: Day, scene: Scene) -> None:
    """A take that came when the cards had been copied once."""
    for take in scene[:2]:
        plain(day, take)
    day.later.append(lambda: plain(day, scene[2]))


def yesterdays(day: Day, take: Take) -> None:
    """The same file on both cards, of the day before."""
    said = take.said.but(day=YESTERDAY, scene="90")
    content = file_of(said, packed(take.samples), take.channels, odd=day.odd)
    for card in CARDS:
        day.put(card, take.name, content, take.said.start - 24 * 3600 * RATE)


def not_cleared(day: Day, scene: Scene) -> None:
    """Files of the day before were never deleted: said of each card once; no takes of today."""
    plain(day, scene[2])
    for take in scene[:2]:
        yesterdays(day, take)
    for card in CARDS:
        day.owed("files-of-other-days", card)
    day.owed("take-numbers", f"scene {scene[2].said.scene} has no takes 1, 2")


def late_for_an_earlier_day(day: Day, scene: Scene) -> None:
    """That day was wrapped, and one more file of it comes: a new revision of it."""
    plain(day, scene[0])
    plain(day, scene[1])
    day.wrapped[YESTERDAY] = 2, day.plant
    day.later.append(lambda: yesterdays(day, scene[2]))


def backup_a_day_off(day: Day, scene: Scene) -> None:
    """The backup's recorder has yesterday's date: it is known by its audio."""
    for take in (scene[0], scene[2]):
        plain(day, take)
    off = scene[1]
    day.put("primary", off.name, whole(day, off), off.said.start)
    at = off.said.start - 24 * 3600 * RATE
    day.put("backup", off.name, whole(day, off, day=YESTERDAY), at)
    day.relate(off.name, "same audio")
    day.owed("backup-day-off", "backup")


def second_backup_card(day: Day, scene: Scene) -> None:
    """Another backup card has a copy of one take that is cut, and one of other audio."""
    day.cards["backup_2"] = "backup"
    for take in scene:
        plain(day, take)
    cut, other = scene[0], scene[2]
    kept = packed(cut.samples[: len(cut.samples) // 2])
    day.put("backup_2", cut.name, file_of(cut.said, kept, 3, odd=day.odd), cut.said.start)
    samples = other.samples.copy()
    samples[len(samples) // 3, 1] ^= 1
    day.put("backup_2", other.name, file_of(other.said, packed(samples), 3), other.said.start)
    for take in (cut, other):
        day.owed("backup-spare", f"backup_2/DAY01/{take.name}:")


def next_card(day: Day, scene: Scene) -> None:
    """A primary card is full within a take, which goes on on the next; a set lies over both."""
    day.cards["primary_3"] = "primary"
    plain(day, scene[0])
    for take in scene[1:]:
        day.put("backup", take.name, whole(day, take), take.said.start)
    halves = enumerate(parts(scene[1], [0.4]))
    split = [(name, whole(day, half, files=2, index="AB"[n])) for n, (name, half) in halves]
    for first, *others in (split, list(monos(day, scene[2]))):
        for card, files in (("primary", [first]), ("primary_3", others)):
            for name, content in files:
                day.put(card, name, content, scene[1].said.start)
                day.relate(name, "same audio, other layout")


def mp3_on_a_second_card(day: Day, scene: Scene) -> None:
    """A second primary card has an MP3 of the mix of each take: of two nothing is said.

    The third holds another take's.
    """
    day.cards["primary_2"] = "primary"
    for take in scene:
        plain(day, take)
    for take, heard in zip(scene, (scene[0], scene[1], scene[0]), strict=True):
        name = f"{take.name[:-4]}.MP3"
        day.put("primary_2", name, encoded(day, heard, ".mp3", *PLAIN_MP3), take.said.start)
    day.owed("backup-missing", f"primary_2/DAY01/{name}:")
    if not day.odd:
        day.set_up("primary_2", "channels", name, "1 channel")


def transmitters_own_card(day: Day, scene: Scene) -> None:
    """Keeper's transmitter ran through the first take, lost the second's end, and all of the third.

    At the timecode of the takes, in one file that ends and one that begins too late.
    """
    day.cards["pack"] = "bodypack"
    for take in scene:
        plain(day, take)
    first, second, third = scene
    middle = second.said.start + len(second.samples) // 2
    for name, begin, end in (
        ("0001.WAV", first.said.start - RATE, middle),
        ("0002.WAV", third.said.start + 10 * RATE, third.said.start + 12 * RATE),
    ):
        said = first.said.but(start=begin, names=("Keeper",), scene="", take="", family="", uid="")
        sound = voices(day.dice, end - begin, 1)
        day.put("pack", name, file_of(said, packed(sound), 1, odd=day.odd), begin)
    covers = zip(scene, ("whole", "partly", "not"), strict=True)
    day.covers |= {(t.said.scene, t.said.take): how for t, how in covers}
    day.owed("pack-not-covering", "takes whole")


def opaque_containers(day: Day, scene: Scene) -> None:
    """A primary card of another recorder holds containers; its backup card lacks a take."""
    day.cards |= {"box": "primary", "box_backup": "backup"}
    for take in (scene[0], scene[2]):
        day.put("box", f"{take.name[:-4]}.BOX", day.dice.bytes(50_000), take.said.start)
        day.put("box_backup", take.name, whole(day, take, tape="BOX"), take.said.start)
        day.owed("content-not-looked-at", f"box/DAY01/{take.name[:-4]}.BOX")
    day.owed("primary-not-comparable", "box: its 2 files cannot be looked into.")
    day.owed("take-numbers", f"box_backup: scene {scene[0].said.scene} has no take 2")


def report(day: Day, scene: Scene) -> None:
    """A table on the primary card names a file that is not there, and leaves one out."""
    for take in scene:
        plain(day, take)

    def write() -> None:
        folder = day.card("primary") / "DAY01"
        names = sorted(f"{p.name}" for p in folder.iterdir() if p.name != scene[1].name)
        rows = ["Scene,Take,File", *(f",,{name}" for name in (*names, "GONE.WAV"))]
        path = day.card("primary") / "REPORT.CSV"
        path.write_text("\r\n".join(rows) + "\r\n")
        moment = path.stat().st_mtime - 60
        os.utime(path, (moment, moment))

    day.later.append(write)
    day.owed("report-names-missing", "not on that card: GONE.WAV")
    day.owed("report-omits", f"in no sound report: DAY01/{scene[1].name}.")


ROUNDS: list[tuple[str, Callable[[Day, Scene], None]]] = [
    (made.__name__.replace("_", " "), made)
    for made in (
        *(edited_later, name_used_again, comes_later, not_cleared, late_for_an_earlier_day),
        *(backup_a_day_off, second_backup_card, next_card, mp3_on_a_second_card),
        *(transmitters_own_card, opaque_containers, report),
    )
]
"""The report is last: it lists what the others leave on the card."""


def go_round(day: Day, first_scene: int) -> None:
    """Plant each of them once, in scenes of its own behind the others."""
    for number, (name, plant) in enumerate(ROUNDS, first_scene):
        day.plant = name
        day.plants[name] += 1
        day.plants["plain"] += 2
        plant(day, [a_take(day, str(number), nth) for nth in (1, 2, 3)])
    day.plant = "plain"
    assert day.made * 40 + FIRST < 86_400
