"""The takes of a day as the manifest lists them: which files belong together."""

from __future__ import annotations

from takehold.decide.coverage import Cover, Coverage, Extent, times
from takehold.decide.manifest_file import TEXT_CAP, named, writable
from takehold.decide.standing import DayStanding
from takehold.formats.timecode import label
from takehold.model.take import Take


def take_entry(take: Take, view: DayStanding, known: Coverage) -> dict[str, object]:
    """One take; what is not known is left out."""
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
    entry["parts"] = [
        [named("path", view.index[number].recording.path) for number in part.files]
        for part in take.parts
    ]
    packs = [_pack(cover, take, view) for cover in known.of(take)]
    if packs:
        entry["packs"] = packs
    again = [take_entry(other, view, known) for other in take.again if was_read(other, view)]
    if again:
        entry["again"] = again
    return entry


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
