"""What the day check noticed, and what it comes to."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Severity(StrEnum):
    """`hold`: do not hand over. `look`: a person should decide. `note`: good to know."""

    HOLD = "hold"
    LOOK = "look"
    NOTE = "note"


class Verdict(StrEnum):
    """For a day and for a card."""

    READY = "READY"
    HOLD = "HOLD"


class Finding(NamedTuple):
    """One thing noticed. `id` stays the same while code and subject do.

    `subject` names the file, load or destination, shown escaped; `says` and `do` are sentences.
    `load` is set where it is about one card, `recording` where it is about one file of it.
    `covers` tells apart what it is about beside its subject, as the files of a drive: a decision
    holds for no others.
    """

    id: str
    code: str
    severity: Severity
    subject: str
    says: str
    do: str
    recording: int | None = None
    load: int | None = None
    covers: str = ""


class Relation(StrEnum):
    """How a backup card's file answers a primary one, strongest first."""

    IDENTICAL = "identical"
    SAME_AUDIO = "same audio"
    OTHER_LAYOUT = "same audio, other layout"
    REDUCED = "reduced"
    SHORT = "short"
    LONGER = "longer"
    DIFFERENT = "different"
    UNDECODED = "not comparable"
    UNCOMPARED = "not compared yet"
    UNREAD = "unread"
    MISSING = "missing"


class Counterpart(NamedTuple):
    """The answer for one primary recording; `others` are the backup card's recordings.

    `frames` counts missing frames for `short`, further ones for `longer`, and is the first frame
    that differs, or of the block that does, for `different`; None where that is not known.
    `since` is the first frame that is missing, for `short`, and for `different` if any is.
    `channels` of the primary one, from 1, differ (`different`), lack those frames (`short`; all if
    empty) or have no backup (`reduced`); those that have none are `alone` where it is worse than
    `reduced`; of an answer seen from the backup, those of its channels are that sound and the
    primary lacks. `theirs_alone` are these, each with its recording.
    `residual_db` and `correlation` are the figures that decided, where samples were compared;
    `duration_difference` is how many frames the backup's sound is longer, negative if shorter.
    `later` is how many frames the backup's sound lies later than both TimeReferences say, None
    where that is not known.
    `missing` are the stretches of a `short` one, first frame and end (not included), if there are
    several. `beyond` is how many frames the backup holds before the first, and behind the last.
    """

    recording: int
    relation: Relation
    other: int | None = None
    frames: int | None = None
    others: tuple[int, ...] = ()
    channels: tuple[int, ...] = ()
    residual_db: float | None = None
    correlation: float | None = None
    since: int | None = None
    later: int | None = None
    alone: tuple[int, ...] = ()
    duration_difference: int | None = None
    theirs_alone: tuple[tuple[int, int], ...] = ()
    missing: tuple[tuple[int, int], ...] = ()
    beyond: tuple[int, int] = (0, 0)

    @property
    def confirms(self) -> bool:
        """Whether it is a second, independent read of the very same bytes (P8)."""
        return self.relation is Relation.IDENTICAL
