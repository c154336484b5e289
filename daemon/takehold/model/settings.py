"""What the mixer asked for: the config, validated."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from takehold.model.finding import Severity
from takehold.model.sound import Rate


class Role(StrEnum):
    """What a card is for."""

    PRIMARY = "primary"
    BACKUP = "backup"
    BODYPACK = "bodypack"


@dataclass(frozen=True, slots=True)
class Source:
    """A card, known by its label's pattern, or a watch folder, known by its path."""

    name: str
    role: Role
    label: str | None = None
    path: bytes | None = None


@dataclass(frozen=True, slots=True)
class Destination:
    """A drive, known by its label's pattern, or a folder, known by its path.

    `folder` is below the drive's top, "" for the top itself.
    """

    name: str
    label: str | None = None
    path: bytes | None = None
    folder: bytes = b""


@dataclass(frozen=True, slots=True)
class Expect:
    """What the day is set up for; None is not checked. Sample rate in Hz, depth in bits.

    `channels` are those of all files of a take together.
    """

    timecode_rate: Rate | None = None
    sample_rate: int | None = None
    bit_depth: int | None = None
    channels: int | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """The whole config. Times of day are minutes since midnight, spans are in the unit named.

    `rerecorded` are words in a name or note that mark a take made to replace another; `severities`
    are those that a code has other than by itself.
    """

    production: str
    sources: tuple[Source, ...]
    destinations: tuple[Destination, ...]
    unit: str = "main"
    mixer: str = ""
    copies_required: int = 2
    day_starts_at: int = 6 * 60
    wrap_at: int | None = None
    checksums: tuple[str, ...] = ("xxh64", "sha256")
    expect: Expect = field(default_factory=Expect)
    settle_seconds: int = 20
    look_every_seconds: int = 60
    recheck_after_days: int = 30
    recheck_cards_at_wrap: bool = False
    reserve_megabytes: int = 500
    stall_seconds: int = 20
    rerecorded: tuple[str, ...] = ("rerec*", "re-rec*")
    severities: tuple[tuple[str, Severity], ...] = ()

    def source(self, name: str) -> Source | None:
        """The source of that name."""
        return next((s for s in self.sources if s.name == name), None)

    def has_backup(self) -> bool:
        """Whether the day is set up with a backup card."""
        return any(s.role is Role.BACKUP for s in self.sources)
