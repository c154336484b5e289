"""The takes of a day as the manifest lists them: which files belong together."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.coverage import Cover, Coverage, Extent, times
from takehold.decide.manifest_file import TEXT_CAP, named, writable
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.timecode import label
from takehold.model.take import Part, Take


def take_entries(take: Take, view: DayStanding, known: Coverage) -> Iterator[dict[str, object]]:
    """A take, one entry for each load that it lies on; the first tells what belongs to it."""
    for load in dict.fromkeys(view.index[number].load.id for number in take.files):
        parts = (
            Part(tuple(n for n in part.files if view.index[n].load.id == load), *part[1:])
            for part in take.parts
        )
        here = take._replace(load=load, parts=tuple(part for part in parts if part.files))
        yield _entry(here if load == take.load else here._replace(again=()), view, known)


def _entry(take: Take, view: DayStanding, known: Coverage) -> dict[str, object]:
    """One take of one load; what is not known is left out."""
    entry: dict[str, object] = {"load": take.load}
    texts = {"scene": take.scene, "take": take.take, "tape": take.tape, "note": take.note}
    entry |= {key: text[:TEXT_CAP] for key, text in texts.items() if text}
    if take.circled:
        entry["circled"] = True
    if take.types:
        entry["types"] = [word[:TEXT_CAP] for word in take.types]
    if take.rerecorded:
        entry["rerecorded"] = True
    if take.derived:
        entry["derived"] = True
    if take.start is not None and take.rate is not None and take.sample_rate:
        entry["start_timecode"] = label(take.start, take.sample_rate, take.rate)
    if take.frames is not None and take.sample_rate:
        entry |= {"frames": take.frames, "sample_rate": take.sample_rate}
    entry["parts"] = [[_file(view.index[number]) for number in part.files] for part in take.parts]
    packs = [_pack(cover, take, view) for cover in known.of(take)]
    if packs:
        entry["packs"] = packs
    later = (other for other in take.again if was_read(other, view))
    again = [entry for other in later for entry in take_entries(other, view, known)]
    if again:
        entry["again"] = again
    return entry


def _file(standing: Standing) -> dict[str, object]:
    """A file of a take by its path; one whose name was used again by its version, too."""
    mine = standing.recording
    version = {} if standing.current else {"version": mine.version}
    return named("path", mine.path) | version


def _pack(cover: Cover, take: Take, view: DayStanding) -> dict[str, object]:
    """What a transmitter's own card has of a take; its files as far as they are of this day."""
    entry: dict[str, object] = {
        "load": cover.pack.load,
        "name": writable(cover.pack.name)[:TEXT_CAP],
        "covers": cover.extent.value,
    }
    if cover.extent is Extent.PARTLY:
        ends = zip(cover.spans, times(cover, take), strict=True)
        entry["spans"] = [
            {"first_frame": first, "frames": end - first}
            | ({"from_timecode": at, "to_timecode": to} if take.rate is not None else {})
            for (first, end), (at, to) in ends
        ]
    files = [
        {"load": file.load, **named("path", file.path)}
        for file in cover.files
        if file.digests is not None and view.of(file.id) is not None
    ]
    return entry | ({"files": files} if files else {})


def was_read(take: Take, view: DayStanding) -> bool:
    """Whether all its files are in the manifest: those that were read."""
    return all(view.index[number].recording.digests is not None for number in take.files)
