"""Plants of lossy, cut and damaged counterparts, and of files that hardly hold any audio."""

from __future__ import annotations

import struct
import subprocess

import numpy as np

from corpus.day import Day, Plant, Take, plain, whole
from corpus.plants import FF, both, encoded, monos, monos_on_primary, pair, reduced, sixteen
from corpus.wavs import RATE, bext, file_of, ixml, packed, riff, voices

PLAIN_MP3 = ("-c:a", "libmp3lame", "-b:a", "128k")


def muted_mp3(day: Day, take: Take) -> None:
    """An MP3 of the mix that was muted for six tenths of a second."""
    begin = int(day.dice.uniform(0.2, 0.7) * RATE)
    muted = Take(take.name, take.said, take.samples.copy())
    muted.samples[begin : begin + int(0.6 * RATE)] = 0
    content = encoded(day, muted, ".mp3", *PLAIN_MP3)
    pair(day, take, content, "different", f"{take.name[:-4]}.MP3")
    day.owed("backup-different", f"DAY01/{take.name}:")
    if take.channels > 1:  # nor are the others in it
        day.owed("backup-partial", f"DAY01/{take.name}:")


def mp3_of_another_take(day: Day, take: Take) -> None:
    """An MP3 of that name holds the mix of another take."""
    other = Take(take.name, take.said, voices(day.dice, len(take.samples), take.channels))
    content = encoded(day, other, ".mp3", *PLAIN_MP3)
    pair(day, take, content, "different", f"{take.name[:-4]}.MP3")
    day.owed("backup-different", f"DAY01/{take.name}:")
    if take.channels > 1:  # nor are the others in it
        day.owed("backup-partial", f"DAY01/{take.name}:")


def mp3_without_a_header(day: Day, take: Take) -> None:
    """Nothing in the MP3 tells the encoder's delay: it is found, and how much longer it is."""
    content = encoded(day, take, ".mp3", *PLAIN_MP3, "-write_xing", "0")
    pair(day, take, content, "reduced", f"{take.name[:-4]}.MP3")
    day.owed("backup-partial", "s longer than this file; and other tracks of it only")


def mp3_of_monos(day: Day, take: Take) -> None:
    """A mono set, and an MP3 of its mix with the name that its files have in common."""
    for place, (name, content) in enumerate(monos(day, take, range(take.channels))):
        day.put("primary", name, content, take.said.start)
        day.relate(name, "missing" if place else "reduced")
        day.owed("backup-missing" if place else "backup-reduced", f"primary/DAY01/{name}:")
    content = encoded(day, take, ".mp3", *PLAIN_MP3)
    day.put("backup", f"{take.name[:-4]}.MP3", content, take.said.start)


def other_files_lost(day: Day, take: Take) -> None:
    """A mono set that lacks one member on the primary card, and another one on the backup card."""
    lost = {"primary": 2, "backup": 1}
    for place, (name, content) in enumerate(monos(day, take, range(take.channels))):
        for role in [role for role, number in lost.items() if number != place]:
            day.put(role, name, content, take.said.start)
        if place != lost["primary"]:
            day.relate(name, "missing" if place == lost["backup"] else "identical")
        if place in lost.values():
            where = "primary" if place == lost["backup"] else "backup"
            code = "backup-missing" if place == lost["backup"] else "only-on-backup"
            day.owed(code, f"{where}/DAY01/{name}:")
    day.other_channels(f"{take.name[:-4]}_1.WAV", 2, 3)
    day.owed("set-incomplete", f"scene {take.said.scene}, take {take.said.take} is incomplete")


def mp3_beside_monos(day: Day, take: Take) -> None:
    """A mono set on both cards; beside it on the backup card an MP3 of its mix: nothing is said."""
    for name, content in monos(day, take):
        for role in ("primary", "backup"):
            day.put(role, name, content, take.said.start)
        day.relate(name, "identical")
    content = encoded(day, take, ".mp3", *PLAIN_MP3)
    day.put("backup", f"{take.name[:-4]}_Mix.MP3", content, take.said.start)


def mp3_beside_primary_monos(day: Day, take: Take) -> None:
    """A mono set, an MP3 of its mix beside it, and a poly file on the backup card."""
    monos_on_primary(day, take)
    name = f"{take.name[:-4]}.MP3"
    day.put("primary", name, encoded(day, take, ".mp3", *PLAIN_MP3), take.said.start)
    day.relate(name, "reduced")


def cut_and_reduced(day: Day, take: Take) -> None:
    """The backup ends early and has 16 bits."""
    kept = len(take.samples) * 2 // 3
    content = file_of(take.said, sixteen(take.samples[:kept]), take.channels, 16, odd=day.odd)
    pair(day, take, content, "short")
    day.owed("backup-short", f"DAY01/{take.name}: the backup holds the beginning only;")
    day.owed("backup-reduced", f"primary/DAY01/{take.name}:")
    day.set_up("backup", "bit-depth", take.name, "16 bits")


def longer_and_reduced(day: Day, take: Take) -> None:
    """The primary's file ends early, and the backup has 16 bits."""
    kept = len(take.samples) * 2 // 3
    lost = (len(take.samples) - kept) / RATE
    content = file_of(take.said, packed(take.samples[:kept]), take.channels, odd=day.odd)
    day.put("primary", take.name, content, take.said.start)
    less = file_of(take.said, sixteen(take.samples), take.channels, 16, odd=day.odd)
    day.put("backup", take.name, less, take.said.start)
    day.relate(take.name, "longer")
    day.owed("primary-short", f"DAY01/{take.name}: the backup holds {lost:.3f} s more")
    day.owed("backup-reduced", f"primary/DAY01/{take.name}:")
    day.set_up("backup", "bit-depth", take.name, "16 bits")


def one_track_as_coarse(day: Day, take: Take) -> None:
    """16 bits on the backup card, of a take of which one track had no more before."""
    take.samples[:, 2] &= ~0xFF
    reduced(day, take)


def broken_flac(day: Day, take: Take) -> None:
    """The backup's FLAC does not decode: its middle was overwritten."""
    source, made = day.folder / "from.wav", day.folder / "made.flac"
    source.write_bytes(file_of(take.said, packed(take.samples), take.channels))
    subprocess.run([*FF, "-i", source, "-c:a", "flac", made], check=True, timeout=60)
    content = bytearray(made.read_bytes())
    source.unlink()
    made.unlink()
    middle = len(content) // 2
    content[middle : middle + 4_000] = day.dice.bytes(4_000)
    pair(day, take, bytes(content), "not comparable", f"{take.name[:-4]}.FLAC")
    day.owed("not-decoded", f"backup/DAY01/{take.name[:-4]}.FLAC")
    day.owed("backup-not-comparable", f"DAY01/{take.name}:")


def no_length(day: Day, take: Take) -> None:
    """A true header and not one frame, beside the take."""
    plain(day, take)
    said = take.said.but(uid=f"{take.said.uid}Z")
    name = f"{take.name[:-4]}_Z.WAV"
    for role in ("primary", "backup"):
        day.put(role, name, file_of(said, b"", take.channels, odd=day.odd), said.start)
        day.owed("no-data", f"{role}/DAY01/{name}")
    day.owed("take-twice", f"DAY01/{name}:")


def above_full_scale(day: Day, take: Take) -> None:
    """A float recording that goes over 1.0."""
    samples = (take.samples / 0x800000).astype("<f4")
    samples[900:905, 0] = 1.5
    both(day, take, file_of(take.said, samples.tobytes(), take.channels, 32, odd=day.odd, tag=3))
    day.owed("above-full-scale", f"DAY01/{take.name}:")
    for role in ("primary", "backup"):
        day.set_up(role, "bit-depth", take.name, "32 bits")


def a_law(day: Day, take: Take) -> None:
    """A coding that is not measured (WAVE_FORMAT_ALAW)."""
    data = day.dice.bytes(len(take.samples) * take.channels)
    form = struct.pack("<HHIIHHH", 6, 3, RATE, RATE * 3, 3, 8, 0)
    order = [(b"bext", bext(take.said)), (b"iXML", ixml(take.said)), (b"fmt ", form)]
    both(day, take, riff([*order, (b"data", data)]))
    day.owed("sound-unmeasured", f"primary/DAY01/{take.name}")
    for role in ("primary", "backup"):
        day.set_up(role, "bit-depth", take.name, "8 bits")


def adpcm(day: Day, take: Take) -> None:
    """A coding whose blocks hold several samples (tag 2, RFC 2361)."""
    data = day.dice.bytes(len(take.samples) * take.channels // 2 // 768 * 768 + 100)
    form = struct.pack("<HHIIHHH", 2, 3, RATE, RATE * 3 // 2, 768, 4, 0)
    order = [(b"bext", bext(take.said)), (b"iXML", ixml(take.said)), (b"fmt ", form)]
    both(day, take, riff([*order, (b"data", data)]))
    day.owed("sound-unmeasured", f"primary/DAY01/{take.name}: its audio cannot be measured (ADPCM")
    for role in ("primary", "backup"):
        day.set_up(role, "bit-depth", take.name, "coded otherwise (ADPCM")


def modest_flac(day: Day, take: Take) -> None:
    """The backup's FLAC tells fewer samples than it holds (RFC 9639, 8.2): nothing is short."""
    source, made = day.folder / "from.wav", day.folder / "made.flac"
    source.write_bytes(file_of(take.said, packed(take.samples), take.channels))
    subprocess.run([*FF, "-i", source, "-c:a", "flac", made], check=True, timeout=60)
    content = made.read_bytes()
    source.unlink()
    made.unlink()
    told = int.from_bytes(content[18:26], "big") - 999
    content = content[:18] + told.to_bytes(8, "big") + content[26:]
    pair(day, take, content, "same audio", f"{take.name[:-4]}.FLAC")
    day.owed("header-untrue", f"backup/DAY01/{take.name[:-4]}.FLAC: its header and its length")


def drop_frame(day: Day, take: Take) -> None:
    """Timecode at 29.97 drop-frame where 25 was expected."""
    both(day, take, whole(day, take, fps="30000/1001", flag="DF"))
    for role in ("primary", "backup"):
        day.set_up(role, "timecode-rate", take.name, "timecode at 29.97")


def late_sample(day: Day, take: Take) -> None:
    """The backup's sound lies half a second later than its TimeReference says, in 16 bits."""
    shifted = np.concatenate([take.samples[:1].repeat(RATE // 2, axis=0), take.samples])
    content = file_of(take.said, sixteen(shifted), take.channels, 16, odd=day.odd)
    pair(day, take, content, "longer")
    day.owed("primary-short", "its sound lies 0.500 s later than both TimeReferences say")
    day.owed("backup-reduced", f"primary/DAY01/{take.name}:")
    day.set_up("backup", "bit-depth", take.name, "16 bits")


DAMAGE: list[tuple[str, Plant]] = [
    (made.__name__.replace("_", " "), made)
    for made in (
        *(muted_mp3, mp3_of_another_take, mp3_without_a_header, cut_and_reduced),
        *(longer_and_reduced, broken_flac, no_length, above_full_scale, a_law, drop_frame),
        *(late_sample, adpcm, modest_flac, mp3_of_monos, mp3_beside_primary_monos),
        *(mp3_beside_monos, one_track_as_coarse, other_files_lost),
    )
]
