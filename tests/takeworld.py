"""Makers of recordings as their files tell of takes: scene, take, timecode, sets, tracks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from planworld import DAY, RATE, cards, copied, ledger, recording, settings, taken, target, view
from takehold.decide.check import Around, check
from takehold.model import facts as f
from takehold.model.finding import Finding
from takehold.model.recording import Recording, Stamp
from takehold.model.settings import Settings
from takehold.model.sound import Description, Kind, Metadata, Span, Track, WaveFormat

HZ = 48_000
HOUR = 3600 * HZ
MORNING = 9 * HOUR
DRIVES = (target("shuttle-1"), target("shuttle-2"))


def names(*words: str, first: int = 1) -> tuple[Track, ...]:
    """Tracks of these names, one channel after the other."""
    return tuple(
        Track(channel, place, word)
        for place, (channel, word) in enumerate(enumerate(words, first), 1)
    )


def wav(
    number: int,
    path: bytes,
    scene: str = "",
    take: str = "",
    start: int | None = None,
    frames: int = 10 * HZ,
    *,
    of: int = 1,
    channels: int = 1,
    hz: int = HZ,
    bits: int = 24,
    size: int | None = None,
    **said: Any,
) -> Recording:
    """One WAVE file; `start` and `frames` in samples. Its bext time is its timecode unless told."""
    block = channels * bits // 8
    if "time" not in said and start is not None:
        seconds = start // hz % 86_400
        said["time"] = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    metadata = Metadata(
        **{"date": DAY, "timecode_rate": RATE, "time_reference": start, "originator": "recorder"}
        | {"scene": scene, "take": take}
        | said
    )
    made = WaveFormat(1, channels, hz, bits, block)
    described = Description(Kind.WAVE, made, Span(0, frames * block), frames, metadata)
    base = recording(number, path, of=of, audio=f"{scene} {take} {start} {path!r}".encode())
    stamp = Stamp(size if size is not None else frames * block + 1000, 10**18)
    return replace(base, description=described, stamp=stamp)


def monos(
    number: int, scene: str, take: str, start: int, *words: str, **said: Any
) -> list[Recording]:
    """A mono set with one file for each track name, by iXML's file set; numbers go up by one."""
    family = {"family_uid": f"F{scene}-{take}", "total_files": len(words)} | said
    return [
        wav(
            number + n,
            f"{scene}-T{take}_{n + 1}.wav".encode(),
            scene,
            take,
            start,
            set_index=f"{n + 1:02}",
            tracks=names(word, first=n + 1),
            **family,
        )
        for n, word in enumerate(words)
    ]


def found_on(
    *recordings: Recording | Iterable[Recording],
    made: Settings | None = None,
    earlier: Iterable[f.Fact] = (),
) -> tuple[Finding, ...]:
    """What a day of these recordings on two cards has to say; each stands on both drives."""
    flat = [r for one in recordings for r in ([one] if isinstance(one, Recording) else one)]
    facts = [*cards(), *taken(*flat), *(x for r in flat for x in copied(r, *DRIVES))]
    known = ledger(facts, list(earlier))
    using = made or settings()
    return check(view(known, using), known, using, Around())
