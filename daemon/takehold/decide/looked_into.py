"""How far a file could be looked into: whether its header was read, its audio measured."""

from __future__ import annotations

from takehold.formats.wave import CODINGS, FRAMED
from takehold.model.recording import Recording
from takehold.model.sound import Description, Kind

NOT_DESCRIBED, NOT_DECODED = "not-described", "not-decoded"


def undescribed(recording: Recording) -> bool:
    """Whether its header could not be read yet: it is described first, then copied."""
    return not recording.readings and any(
        c.code == NOT_DESCRIBED for c in recording.description.complaints
    )


def unmeasured(recording: Recording) -> bool:
    """Whether it was read and could be measured yet; what does not decode never can."""
    if recording.description.kind is not Kind.COMPRESSED or not recording.readings:
        return False
    return recording.sound is None and not undecodable(recording)


def coding(said: Description) -> str:
    """That of a WAVE file whose blocks hold several samples: they are not decoded, nor counted.

    "" for any other file.
    """
    made = said.format
    if said.kind is not Kind.WAVE or made is None or made.tag in FRAMED:
        return ""
    name = CODINGS.get(made.tag)
    return f"{name}, tag {made.tag:#06x}" if name else f"tag {made.tag:#06x}"


def undecodable(recording: Recording) -> bool:
    """Whether its decoding failed when it was to be measured."""
    said = recording.description
    tried = said.kind is Kind.COMPRESSED and recording.sound is None
    return tried and any(complaint.code == NOT_DECODED for complaint in said.complaints)
