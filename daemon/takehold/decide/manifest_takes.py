"""The takes of a day as the manifest lists them: which files belong together."""

from __future__ import annotations

from takehold.decide.manifest_file import TEXT_CAP, named
from takehold.decide.standing import DayStanding
from takehold.formats.timecode import label
from takehold.model.take import Take


def take_entry(take: Take, view: DayStanding) -> dict[str, object]:
    """One take; what is not known is left out."""
    entry: dict[str, object] = {"load": take.load}
    texts = {"scene": take.scene, "take": take.take, "tape": take.tape, "note": take.note}
    entry |= {key: text[:TEXT_CAP] for key, text in texts.items() if text}
    if take.circled:
        entry["circled"] = True
    if take.rerecorded:
        entry["rerecorded"] = True
    if take.start is not None and take.rate is not None and take.sample_rate:
        entry["start_timecode"] = label(take.start, take.sample_rate, take.rate)
    if take.frames is not None and take.sample_rate:
        entry |= {"frames": take.frames, "sample_rate": take.sample_rate}
    entry["parts"] = [
        [named("path", view.index[number].recording.path) for number in part.files]
        for part in take.parts
    ]
    again = [take_entry(other, view) for other in take.again if was_read(other, view)]
    if again:
        entry["again"] = again
    return entry


def was_read(take: Take, view: DayStanding) -> bool:
    """Whether all its files are in the manifest: those that were read."""
    return all(view.index[number].recording.digests is not None for number in take.files)
