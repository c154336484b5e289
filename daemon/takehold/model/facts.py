"""What the catalogue keeps. Facts, not states: each says that something was seen or proven.

They are named tuples, of which a class costs a command's start a tenth of a frozen dataclass's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from takehold.model.comparison import Comparison
from takehold.model.recording import Copy, Load, Reading, Recording, Stamp
from takehold.model.sound import Description, Sound


class LoadSeen(NamedTuple):
    """A card, or watch folder, was put under this load."""

    load: Load


@dataclass(frozen=True, slots=True)
class Skip:
    """An entry of a card that is no file to copy: a link, a pipe, a folder that cannot be read."""

    path: bytes
    why: str


@dataclass(frozen=True, slots=True)
class Since:
    """What of a listing is not known yet and was first listed that day: a mark of each entry."""

    day: str
    marks: tuple[str, ...]


class Listed(NamedTuple):
    """The newest listing of a load: how many files, what was ignored and skipped.

    `at` is when it was last seen so, to the hour while something of it is not known. `untaken`
    counts files that the listing showed and that were not taken in, as they lay there; `since`
    tells them, and what was skipped, by the day of their first sight (decide/listing).
    """

    load: int
    at: int
    files: int
    litter: tuple[tuple[str, int], ...]
    skipped: tuple[Skip, ...]
    untaken: int = 0
    since: tuple[Since, ...] = ()


class Inventoried(NamedTuple):
    """A file of a load was described and given its place; nothing is copied yet."""

    recording: Recording


class WasRead(NamedTuple):
    """A recording was read whole on its card."""

    recording: int
    reading: Reading


class WasMeasured(NamedTuple):
    """A recording that was read was decoded and measured later, from a proven copy.

    `description` is what is known of it since: its length, or that it does not decode; then there
    is no `sound`.
    """

    recording: int
    description: Description
    sound: Sound | None


class ChannelBlocks(NamedTuple):
    """The blocks of a recording's channels (model/measured), kept for comparisons.

    No ledger holds them: they are asked for by number (ports/catalogue).
    """

    recording: int
    first_sample: int
    blocks: tuple[bytes, ...]


class Compared(NamedTuple):
    """The samples of two recordings, or sets of them, were compared, from proven copies."""

    comparison: Comparison


class SameBytes(NamedTuple):
    """A file with a new stamp holds the bytes that are known: only the stamp is new."""

    recording: int
    stamp: Stamp


class Gone(NamedTuple):
    """A file that was inventoried and never read is not on its card any more."""

    recording: int


class Proven(NamedTuple):
    """A copy was read back and found equal, for the first time or again."""

    copy: Copy


class Broken(NamedTuple):
    """A copy that was proven is no more: `why` is "altered" or "missing"."""

    recording: int
    destination: str
    root: str
    path: bytes
    why: str
    at: int


class Salvaged(NamedTuple):
    """What can be read of an unreadable recording was gathered; it never counts as a copy.

    `appearance` is that of the card's volume. `missing` are byte ranges, first and end (not
    included), in order. `kept` names the files made of it by destination, root and path: none
    where all of it could be read after all, or nothing more than before.
    """

    recording: int
    appearance: str
    missing: tuple[tuple[int, int], ...]
    kept: tuple[tuple[str, str, bytes], ...]
    at: int

    @property
    def missing_bytes(self) -> int:
        """How many bytes could not be read."""
        return sum(end - first for first, end in self.missing)


class Revised(NamedTuple):
    """A revision of a day's manifest was written and signed.

    `basis` is a digest over what it says without its number and times: equal, no new revision.
    """

    day: str
    number: int
    name: str
    sha256: str
    at: int
    verdict: str
    basis: str


class Published(NamedTuple):
    """A revision's files stand proven on a destination."""

    day: str
    number: int
    destination: str
    root: str
    at: int


class Unpublished(NamedTuple):
    """A revision's manifest is not on a destination any more."""

    day: str
    number: int
    root: str


class Weighed(NamedTuple):
    """A day was looked at again, and its newest manifest says what is known.

    `times` is the sum of the times of all that was known of it: any news changes it.
    """

    day: str
    times: int


class Met(NamedTuple):
    """On a drive stands a manifest that nobody knew here; it is left alone.

    `sha256` is of its bytes, empty where they could not be read. `ours`: our key signed it.
    `loose`: no manifest that is known names it; the next one that is written does (P11).
    """

    day: str
    number: int
    sha256: str
    destination: str
    root: str
    at: int
    ours: bool
    loose: bool


class Trouble(NamedTuple):
    """Something failed and is tried again at `retry_at`. `key` names the work that failed."""

    key: str
    code: str
    says: str
    do: str
    since: int
    tries: int
    retry_at: int


class TroubleOver(NamedTuple):
    """The work of that key went well, or is no more."""

    key: str


class Acked(NamedTuple):
    """A person's decision on a finding."""

    finding: str
    note: str
    at: int


class Receipt(NamedTuple):
    """The DIT's answer to a manifest.

    `signer` is the key's fingerprint, empty where unsigned; `confirmed` says that a person vouched
    for that key.
    """

    manifest_sha256: str
    day: str
    number: int
    at: int
    received_by: str
    signer: str
    intact: int
    altered: tuple[str, ...]
    missing: tuple[str, ...]
    unknown: tuple[str, ...]
    confirmed: bool = False

    @property
    def complete(self) -> bool:
        """Whether every file of the manifest arrived intact."""
        return not self.altered and not self.missing


class Asked(NamedTuple):
    """A person's command, stored: it is part of what is asked. Kinds: wrap, recheck."""

    id: int
    kind: str
    about: str
    at: int


class Answered(NamedTuple):
    """A stored command was carried out; `answer` is one sentence or a file's name."""

    id: int
    answer: str
    at: int


Fact = (
    LoadSeen
    | Listed
    | Inventoried
    | WasRead
    | WasMeasured
    | ChannelBlocks
    | Compared
    | SameBytes
    | Gone
    | Proven
    | Broken
    | Salvaged
    | Revised
    | Published
    | Unpublished
    | Weighed
    | Met
    | Trouble
    | TroubleOver
    | Acked
    | Receipt
    | Asked
    | Answered
)
