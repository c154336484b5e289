"""Which recordings of a card were made from others that lie there, as monos split from a poly file?

iXML HISTORY says it: PARENT_UID is the FILE_UID of the file that one was made from (iXML
specification). They are another generation: the recorder's own files are whole without them.
"""

from __future__ import annotations

from collections.abc import Iterable

from takehold.model.recording import Recording


def derived(recordings: Iterable[Recording]) -> dict[int, int]:
    """The parent of each one of these that has one among these, by their numbers."""
    files = list(recordings)
    of_uid: dict[str, Recording] = {}
    for file in files:
        if uid := file.description.metadata.file_uid:
            of_uid.setdefault(uid, file)
    found: dict[int, int] = {}
    for file in files:
        parent = of_uid.get(file.description.metadata.parent_uid)
        if parent is not None and parent.id != file.id and _within(file, parent):
            found[file.id] = parent.id
    return found


def _within(file: Recording, parent: Recording) -> bool:
    """Whether it may hold the parent's audio by its timecode: short UIDs come again."""
    mine, its = file.description, parent.description
    start, begins = mine.metadata.time_reference, its.metadata.time_reference
    if start is None or begins is None or not mine.frames or not its.frames:
        return True
    return start < begins + its.frames and begins < start + mine.frames
