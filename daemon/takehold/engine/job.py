"""One recording on its way from where it lies to the destinations that lack it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from takehold.model.errors import TakeholdError
from takehold.model.recording import Digests, Recording
from takehold.model.sound import Description


@dataclass(slots=True, eq=False)
class Job:
    """Shared by reader, hasher and landers. `closed` is set when all that is read is judged.

    After that, `fault` says why nothing of it may be kept, or `digests` what every copy must be;
    `handed` is the XXH3-128 in hex of the bytes that were handed to the landers.
    `previous` is the version before this one, if the file is known under another stamp.
    `described` is what more is known now of what the file says of itself.
    """

    recording: Recording
    previous: Recording | None = None
    closed: threading.Event = field(default_factory=threading.Event)
    fault: TakeholdError | None = None
    digests: Digests | None = None
    handed: str = ""
    described: Description | None = None

    @property
    def size(self) -> int:
        """Bytes to read."""
        return self.recording.stamp.size
