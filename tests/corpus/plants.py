"""What is planted: each function puts one take on the cards and says what is owed for it."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from corpus.day import Day, Plant, Take, plain, whole
from corpus.wavs import RATE, Samples, bext, file_of, fmt, ixml, packed, riff, voices

FF = ("ffmpeg", "-v", "error", "-nostdin", "-y")


def both(day: Day, take: Take, content: bytes, relation: str = "identical") -> None:
    """The same bytes on both cards."""
    for role in ("primary", "backup"):
        day.put(role, take.name, content, take.said.start)
    day.relate(take.name, relation)


def pair(day: Day, take: Take, backup: bytes, relation: str, name: str | None = None) -> None:
    """The whole take on the primary card, something else on the backup card."""
    day.put("primary", take.name, whole(day, take), take.said.start)
    day.put("backup", name or take.name, backup, take.said.start)
    day.relate(take.name, relation)


# -- counterparts


def edited(day: Day, take: Take) -> None:
    """Metadata edited on one card."""
    pair(day, take, whole(day, take, note="slate later", circled=True), "same audio")


def monos(day: Day, take: Take, order: Sequence[int] | None = None) -> Iterator[tuple[str, bytes]]:
    """The take as a mono set, its files named and numbered in that order."""
    order = order if order is not None else day.dice.permutation(take.channels)
    for place, channel in enumerate(order):
        said = take.said.but(
            names=(take.said.names[channel],),
            first_channel=int(channel) + 1,
            files=len(order),
            index=f"{place + 1:02}",
            uid=f"{take.said.uid}M{place}",
        )
        mono = take.samples[:, channel : channel + 1]
        yield f"{take.name[:-4]}_{place + 1}.WAV", file_of(said, packed(mono), 1, odd=day.odd)


def monos_on_backup(day: Day, take: Take) -> None:
    """A poly file against a mono set, in any order."""
    day.put("primary", take.name, whole(day, take), take.said.start)
    for name, content in monos(day, take):
        day.put("backup", name, content, take.said.start)
    day.relate(take.name, "same audio, other layout")


def monos_on_primary(day: Day, take: Take) -> None:
    """A mono set against a poly file."""
    day.put("backup", take.name, whole(day, take), take.said.start)
    for name, content in monos(day, take):
        day.put("primary", name, content, take.said.start)
        day.relate(name, "same audio, other layout")


def unused_track(day: Day, take: Take) -> None:
    """The mono set leaves out a track that holds no sound."""
    take.samples[:, 2] = 0
    day.put("primary", take.name, whole(day, take), take.said.start)
    for name, content in monos(day, take, [1, 0]):
        day.put("backup", name, content, take.said.start)
    day.relate(take.name, "same audio, other layout")
    day.set_up("primary", "track-silent", take.name, "no sound at all on Keeper")


def parts(take: Take, cuts: Sequence[float]) -> Iterator[tuple[str, Take]]:
    """The take in parts, cut at these shares of its length."""
    frames = len(take.samples)
    edges = [0, *(int(frames * cut) for cut in cuts), frames]
    for number, (first, last) in enumerate(pairwise(edges), 1):
        name = f"{take.name[:-4]}_P{number}.WAV"
        said = take.said.but(start=take.said.start + first, uid=f"{take.said.uid}P{number}")
        yield name, Take(name, said, take.samples[first:last])


def split_on_backup(day: Day, take: Take) -> None:
    """One file against parts."""
    day.put("primary", take.name, whole(day, take), take.said.start)
    for name, part in parts(take, [0.37]):
        day.put("backup", name, whole(day, part), part.said.start)
    day.relate(take.name, "same audio, other layout")


def split_elsewhere(day: Day, take: Take) -> None:
    """Parts against parts that are cut at other places."""
    for role, cuts in (("primary", [0.5]), ("backup", [0.21, 0.83])):
        for name, part in parts(take, cuts):
            other = name.replace("_P", "_Q") if role == "backup" else name
            day.put(role, other, whole(day, part), part.said.start)
            if role == "primary":
                day.relate(name, "same audio, other layout")


def split_and_monos(day: Day, take: Take) -> None:
    """Poly parts against mono parts that are cut elsewhere."""
    for name, part in parts(take, [0.6]):
        day.put("primary", name, whole(day, part), part.said.start)
        day.relate(name, "same audio, other layout")
    for _, part in parts(take, [0.25]):
        for name, content in monos(day, part, range(part.channels)):
            day.put("backup", name, content, part.said.start)


def sixteen(samples: Samples, *filters: str) -> bytes:
    """The samples in 16 bit, made by ffmpeg's resampler."""
    form = ("-f", "s32le", "-ar", str(RATE), "-ac", str(samples.shape[1]))
    words = [*FF, *form, "-i", "-", *filters, "-f", "s16le", "-c:a", "pcm_s16le", "-"]
    raw = (samples.astype("<i4") << 8).tobytes()
    return subprocess.run(words, input=raw, capture_output=True, check=True, timeout=60).stdout


def reduced(day: Day, take: Take, *filters: str) -> None:
    data = sixteen(take.samples, *filters)
    content = file_of(take.said, data, take.channels, 16, odd=day.odd)
    pair(day, take, content, "reduced")
    day.owed("backup-reduced", f"primary/DAY01/{take.name}:")
    day.set_up("backup", "bit-depth", take.name, "16 bits")


def reduced_plain(day: Day, take: Take) -> None:
    """16 bit on the backup card, as ffmpeg makes it by itself."""
    reduced(day, take)


def reduced_dithered(day: Day, take: Take) -> None:
    """16 bit with triangular dither."""
    reduced(day, take, "-af", "aresample=dither_method=triangular")


def reduced_shaped(day: Day, take: Take) -> None:
    """16 bit with high-passed triangular dither."""
    reduced(day, take, "-af", "aresample=dither_method=triangular_hp")


def mix_only(day: Day, take: Take) -> None:
    """The backup card holds the mix in mono, and none of the isos."""
    said = take.said.but(names=("Mix",))
    pair(day, take, file_of(said, packed(take.samples[:, :1]), 1, odd=day.odd), "reduced")
    day.owed("backup-partial", f"DAY01/{take.name}:")


def encoded(day: Day, take: Take, suffix: str, *words: str) -> bytes:
    """The mix track as another codec, made by ffmpeg."""
    source, made = day.folder / "from.wav", day.folder / f"made{suffix}"
    source.write_bytes(file_of(take.said.but(names=("Mix",)), packed(take.samples[:, :1]), 1))
    subprocess.run([*FF, "-i", source, *words, made], check=True, timeout=60)
    content = made.read_bytes()
    source.unlink()
    made.unlink()
    return content


def mp3_mix(day: Day, take: Take) -> None:
    """An MP3 of the mix: encoder delay and loss."""
    content = encoded(day, take, ".mp3", "-c:a", "libmp3lame", "-b:a", "192k")
    pair(day, take, content, "reduced", f"{take.name[:-4]}.MP3")
    day.owed("backup-partial", f"DAY01/{take.name}: the backup holds it at a lower quality")


def short(day: Day, take: Take) -> None:
    """The backup ends early."""
    kept = len(take.samples) * 2 // 3
    lost = (len(take.samples) - kept) / RATE
    content = file_of(take.said, packed(take.samples[:kept]), take.channels, odd=day.odd)
    pair(day, take, content, "short")
    day.owed(
        "backup-short", f"DAY01/{take.name}: the backup holds the beginning only; {lost:.3f} s"
    )


def longer(day: Day, take: Take) -> None:
    """The primary file ends early."""
    kept = len(take.samples) * 2 // 3
    content = file_of(take.said, packed(take.samples[:kept]), take.channels, odd=day.odd)
    day.put("primary", take.name, content, take.said.start)
    day.put("backup", take.name, whole(day, take), take.said.start)
    day.relate(take.name, "longer")
    day.owed("primary-short", f"DAY01/{take.name}:")


def one_sample(day: Day, take: Take) -> None:
    """One bit of one sample of one track differs on the backup card."""
    other = take.samples.copy()
    other[int(day.dice.integers(0, len(other))), 1] ^= 1
    pair(day, take, file_of(take.said, packed(other), take.channels, odd=day.odd), "different")
    day.owed("backup-different", f"DAY01/{take.name}:")


def one_sample_in_monos(day: Day, take: Take) -> None:
    """The same, against a mono set."""
    other = Take(take.name, take.said, take.samples.copy())
    other.samples[int(day.dice.integers(0, len(other.samples))), 2] ^= 1
    day.put("primary", take.name, whole(day, take), take.said.start)
    for name, content in monos(day, other):
        day.put("backup", name, content, take.said.start)
    day.relate(take.name, "different")
    day.owed("backup-different", f"DAY01/{take.name}:")


def another_take(day: Day, take: Take) -> None:
    """The backup's file of that name holds another take of the same scene."""
    other = voices(day.dice, len(take.samples), take.channels)
    pair(day, take, file_of(take.said, packed(other), take.channels, odd=day.odd), "different")
    day.owed("backup-different", f"DAY01/{take.name}:")


def missing(day: Day, take: Take) -> None:
    """The backup card has no such recording."""
    day.put("primary", take.name, whole(day, take), take.said.start)
    day.relate(take.name, "missing")
    day.owed("backup-missing", f"DAY01/{take.name}:")


def on_backup_only(day: Day, take: Take) -> None:
    """The primary card has no such recording; its take number is not missing."""
    day.put("backup", take.name, whole(day, take), take.said.start)
    day.owed("only-on-backup", f"DAY01/{take.name}:")


# -- the files


def unfinished(day: Day, take: Take) -> None:
    """Both sizes were never written."""
    raw = bytearray(file_of(take.said, packed(take.samples), take.channels))
    at = raw.index(b"data")
    raw[4:8] = raw[at + 4 : at + 8] = bytes(4)
    both(day, take, bytes(raw[: len(raw) - take.samples.size % 2]))  # nor is there a pad byte
    for role in ("primary", "backup"):
        day.owed("header-unfinished", f"{role}/DAY01/{take.name}")


def cut(day: Day, take: Take) -> None:
    """The file ends before its header says so."""
    content = file_of(take.said, packed(take.samples), take.channels)
    both(day, take, content[: -take.channels * 3 * 999 - take.samples.size % 2])
    for role in ("primary", "backup"):
        day.owed("header-untrue", f"{role}/DAY01/{take.name}")


def no_format(day: Day, take: Take) -> None:
    """No fmt chunk."""
    raw = riff([(b"bext", bext(take.said)), (b"data", packed(take.samples))])
    both(day, take, raw)
    for role in ("primary", "backup"):
        day.owed("no-fmt", f"{role}/DAY01/{take.name}")
        day.set_up(role, "timecode-rate-unknown", take.name, "no timecode rate")


def silent_track(day: Day, take: Take) -> None:
    """A track without any sound."""
    take.samples[:, 1] = 0
    both(day, take, whole(day, take))
    day.set_up("primary", "track-silent", take.name, "no sound at all on Boom")


def dead_track(day: Day, take: Take) -> None:
    """A track that dies."""
    take.samples[int(0.4 * RATE) :, 2] = 0
    both(day, take, whole(day, take))
    day.set_up("primary", "track-dead", take.name, "goes dead within the take: Keeper")


def zero_tail(day: Day, take: Take) -> None:
    """The card was filled ahead."""
    take.samples[-int(0.6 * RATE) :] = 0
    both(day, take, whole(day, take))
    day.owed("zero-tail", f"DAY01/{take.name}: its last 0.6 s are exactly zero")


def clipped(day: Day, take: Take) -> None:
    """Five samples at full scale."""
    take.samples[5_000:5_005, 1] = 0x7FFFFF
    both(day, take, whole(day, take))
    day.owed("clipped", f"DAY01/{take.name}: samples at full scale: Boom (5)")


def deeper(day: Day, take: Take) -> None:
    """16 bit where 24 were expected."""
    content = file_of(take.said, sixteen(take.samples), take.channels, 16, odd=day.odd)
    both(day, take, content)
    for role in ("primary", "backup"):
        day.set_up(role, "bit-depth", take.name, "16 bits", same=role == "backup")


def faster(day: Day, take: Take) -> None:
    """96 kHz where 48 were expected."""
    said = take.said.but(rate=2 * RATE, start=2 * take.said.start)
    both(day, take, file_of(said, packed(take.samples), take.channels, odd=day.odd))
    for role in ("primary", "backup"):
        day.set_up(role, "sample-rate", take.name, "96000 Hz")


def other_rate(day: Day, take: Take) -> None:
    """Timecode at 24 where 25 was expected."""
    both(day, take, whole(day, take, fps="24/1"))
    for role in ("primary", "backup"):
        day.set_up(role, "timecode-rate", take.name, "timecode at 24")


def more_channels(day: Day, take: Take) -> None:
    """Four channels where three were expected."""
    extra = voices(day.dice, len(take.samples), 1)
    samples = np.concatenate([take.samples, extra], axis=1)
    said = take.said.but(names=(*take.said.names, "Plant"))
    both(day, take, file_of(said, packed(samples), 4, odd=day.odd))
    day.other_channels(take.name, 4, 3)


def renamed_track(day: Day, take: Take) -> None:
    """A track's name changes within a scene, and back."""
    both(day, take, whole(day, take, names=("Mix", "Boom", "Pilot")))
    day.owed("tracks-changed", f"DAY01/{take.name}: track 3 was Keeper and is Pilot")
    day.owed("tracks-changed", "track 3 was Pilot and is Keeper")


def unnamed(day: Day, take: Take) -> None:
    """No track has a name, and those of other takes have."""
    both(day, take, whole(day, take, names=("", "", "")))
    day.set_up("primary", "tracks-unnamed", take.name, "none of its tracks")


def old_date(day: Day, take: Take) -> None:
    """The recorder's clock was never set: said once for a card, with the first files by name."""
    both(day, take, whole(day, take, day="1980-01-01"))
    if day.plants[day.plant] == 1:
        for role in ("primary", "backup"):
            day.owed("date-wrong", f"{role}: ")


def off_clock(day: Day, take: Take) -> None:
    """Timecode an hour off the recorder's clock."""
    seconds = (take.said.start // RATE - 3600 - 17) % 86_400
    clock = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    both(day, take, whole(day, take, time=clock))
    day.set_up("primary", "timecode-off-clock", take.name, "its timecode is 60 min off")


def overlapping(day: Day, take: Take) -> None:
    """Its timecode begins within the take before: a jam in between."""
    start = take.said.start - 39 * RATE
    both(day, take, whole(day, take, start=start, time=""))
    day.owed("timecode-overlap", "its timecode overlaps")


def gap(day: Day, take: Take) -> None:
    """480 samples are missing between two parts."""
    middle = len(take.samples) // 2
    for number, (first, last) in enumerate(((0, middle), (middle + 480, None)), 1):
        name = f"{take.name[:-4]}_P{number}.WAV"
        said = take.said.but(
            start=take.said.start + first,
            uid=f"{take.said.uid}P{number}",
            files=2,
            index=f"{number:02}",
        )
        content = file_of(said, packed(take.samples[first:last]), take.channels, odd=day.odd)
        for role in ("primary", "backup"):
            day.put(role, name, content, said.start)
        day.relate(name, "identical")
    day.owed("part-gap", "480 samples")


def twice(day: Day, take: Take) -> None:
    """The take's number was given before, in the same scene."""
    both(day, take, whole(day, take, take="1"))
    day.owed("take-twice", f"DAY01/{take.name}: scene {take.said.scene}, take 1 is there already")
    day.owed("take-numbers", f"scene {take.said.scene} has no take 2")


def skipped(day: Day, take: Take) -> None:
    """A take number that is left out."""
    day.owed("take-numbers", f"scene {take.said.scene} has no take 2")


def set_lacks(day: Day, take: Take) -> None:
    """A mono set that lacks a member on both cards."""
    for name, content in list(monos(day, take, range(take.channels)))[:2]:
        for role in ("primary", "backup"):
            day.put(role, name, content, take.said.start)
        day.relate(name, "identical")
    day.other_channels(f"{take.name[:-4]}_1.WAV", 2, 3)
    day.owed("set-incomplete", f"scene {take.said.scene}, take {take.said.take} is incomplete")


def uneven(day: Day, take: Take) -> None:
    """A mono set of which one file is shorter."""
    for place, (name, content) in enumerate(monos(day, take, range(take.channels))):
        if place == 2:
            said = take.said.but(names=("Keeper",), first_channel=3, files=3, index="03")
            content = file_of(said, packed(take.samples[:-4800, 2:3]), 1, odd=day.odd)
        for role in ("primary", "backup"):
            day.put(role, name, content, take.said.start)
        day.relate(name, "identical")
    day.owed("set-uneven", f"scene {take.said.scene}, take {take.said.take}")


def opaque(day: Day, take: Take) -> None:
    """An empty file that is named like a recording stands beside the take."""
    plain(day, take)
    for role in ("primary", "backup"):
        day.put(role, f"{take.name[:-4]}_E.WAV", b"")
        day.owed("empty-file", f"{role}/DAY01/{take.name[:-4]}_E.WAV")
        day.owed("content-not-looked-at", f"{role}/DAY01/{take.name[:-4]}_E.WAV")


def bad_ixml(day: Day, take: Take) -> None:
    """The iXML is no XML."""
    form = fmt(take.channels, RATE, 24)
    order = [(b"bext", bext(take.said)), (b"iXML", ixml(take.said)[:-20]), (b"fmt ", form)]
    both(day, take, riff([*order, (b"data", packed(take.samples))]))
    for role in ("primary", "backup"):
        day.owed("ixml-unreadable", f"{role}/DAY01/{take.name}")
        day.set_up(role, "timecode-rate-unknown", take.name, "no timecode rate")
    day.set_up("primary", "tracks-unnamed", take.name, "none of its tracks")


def reordered(day: Day, take: Take) -> None:
    """The same tracks in another order."""
    order = [2, 0, 1]
    said = take.said.but(names=tuple(take.said.names[n] for n in order))
    content = file_of(said, packed(take.samples[:, order]), take.channels, odd=day.odd)
    pair(day, take, content, "same audio, other layout")


def stereo_mix(day: Day, take: Take) -> None:
    """The backup card holds the mix on both sides of a stereo file."""
    said = take.said.but(names=("Mix L", "Mix R"))
    content = file_of(said, packed(take.samples[:, [0, 0]]), 2, odd=day.odd)
    pair(day, take, content, "reduced")
    day.owed("backup-partial", f"DAY01/{take.name}:")


def flac(day: Day, take: Take) -> None:
    """All of it in FLAC, made by ffmpeg: no loss."""
    source, made = day.folder / "from.wav", day.folder / "made.flac"
    source.write_bytes(file_of(take.said, packed(take.samples), take.channels))
    subprocess.run([*FF, "-i", source, "-c:a", "flac", made], check=True, timeout=60)
    pair(day, take, made.read_bytes(), "same audio", f"{take.name[:-4]}.FLAC")
    source.unlink()
    made.unlink()


def recorded_again(day: Day, take: Take) -> None:
    """A take that was made to replace this one lies beside it."""
    plain(day, take)
    samples = voices(day.dice, len(take.samples), take.channels)
    said = take.said.but(start=take.said.start + 10 * RATE, uid=f"{take.said.uid}R", note="rerec")
    again = Take(f"{take.name[:-4]}_rerec.WAV", said.but(family=""), samples)
    plain(day, again)


def no_numbers(day: Day, take: Take) -> None:
    """A float file with a value that is no number."""
    samples = (take.samples / 0x800000).astype("<f4")
    samples[777, 1] = np.nan
    content = file_of(take.said, samples.tobytes(), take.channels, 32, odd=day.odd, tag=3)
    both(day, take, content)
    day.owed("not-numbers", f"DAY01/{take.name}:")
    for role in ("primary", "backup"):
        day.set_up(role, "bit-depth", take.name, "32 bits")


def frame_cut(day: Day, take: Take) -> None:
    """The audio ends inside a sample frame."""
    both(day, take, file_of(take.said, packed(take.samples) + b"\1\2", take.channels))
    for role in ("primary", "backup"):
        day.owed("frame-cut", f"{role}/DAY01/{take.name}:")


def disagreeing(day: Day, take: Take) -> None:
    """The iXML tells another timecode than bext."""
    form = fmt(take.channels, RATE, 24)
    rich = ixml(take.said.but(start=take.said.start + 5))
    order = [(b"bext", bext(take.said)), (b"iXML", rich), (b"fmt ", form)]
    both(day, take, riff([*order, (b"data", packed(take.samples))]))
    for role in ("primary", "backup"):
        day.owed("metadata-disagrees", f"{role}/DAY01/{take.name}:")


def lost_part(day: Day, take: Take) -> None:
    """Half a minute is missing between two parts."""
    middle = len(take.samples) // 2
    for number, (first, last) in enumerate(((0, middle), (middle, None)), 1):
        name = f"{take.name[:-4]}_P{number}.WAV"
        start = take.said.start + first + (number - 1) * 30 * RATE
        uid = f"{take.said.uid}P{number}"
        said = take.said.but(start=start, uid=uid, files=2, index=f"{number:02}")
        content = file_of(said, packed(take.samples[first:last]), take.channels, odd=day.odd)
        for role in ("primary", "backup"):
            day.put(role, name, content, said.start)
        day.relate(name, "identical")
    day.owed("part-missing", "(30.000 s) are missing")


def no_wave(day: Day, take: Take) -> None:
    """A file that begins like a WAVE file, is named like one, and is none, beside the take."""
    plain(day, take)
    for role in ("primary", "backup"):
        day.put(role, f"{take.name[:-4]}_X.WAV", b"RIFF" + bytes(4) + b"AVI " + bytes(90))
        day.owed("not-wave", f"{role}/DAY01/{take.name[:-4]}_X.WAV")
        day.owed("content-not-looked-at", f"{role}/DAY01/{take.name[:-4]}_X.WAV")


def no_audio(day: Day, take: Take) -> None:
    """A file without a data chunk beside the take."""
    plain(day, take)
    for role in ("primary", "backup"):
        raw = riff([(b"bext", bext(take.said)), (b"fmt ", fmt(take.channels, RATE, 24))])
        day.put(role, f"{take.name[:-4]}_N.WAV", raw, take.said.start)
        day.owed("no-data", f"{role}/DAY01/{take.name[:-4]}_N.WAV")
        day.set_up(role, "timecode-rate-unknown", f"{take.name[:-4]}_N.WAV", "no timecode rate")
    day.owed("take-twice", f"DAY01/{take.name[:-4]}_N.WAV:")


RELATIONS: list[tuple[str, Plant]] = [
    (made.__name__.replace("_", " "), made)
    for made in (
        *(edited, monos_on_backup, monos_on_primary, unused_track, split_on_backup),
        *(split_elsewhere, split_and_monos, reduced_plain, reduced_dithered, reduced_shaped),
        *(mix_only, mp3_mix, short, longer, one_sample, one_sample_in_monos, another_take),
        *(missing, on_backup_only, reordered, stereo_mix, flac, recorded_again),
    )
]
CHECKS: list[tuple[str, Plant]] = [
    (made.__name__.replace("_", " "), made)
    for made in (
        *(unfinished, cut, no_format, silent_track, dead_track, zero_tail, clipped, deeper, faster),
        *(other_rate, more_channels, renamed_track, unnamed, old_date, off_clock, overlapping),
        *(gap, lost_part, twice, skipped, set_lacks, uneven, opaque, bad_ixml, no_numbers),
        *(frame_cut, disagreeing, no_wave, no_audio),
    )
]
