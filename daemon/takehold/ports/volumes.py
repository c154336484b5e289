"""What is mounted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from takehold.model.volume import Root, Volume


@dataclass(frozen=True, slots=True)
class Absent:
    """Why a configured folder is not there, in a sentence."""

    says: str
    code: str = "destination-absent"


@dataclass(frozen=True, slots=True)
class Silent:
    """A mount whose device does not answer: its name, as far as it is known, and where it is."""

    label: str
    mount: bytes


class Volumes(Protocol):
    """The system's mount table. Every call looks anew; none may hang on one dead mount."""

    def mounted(self) -> tuple[Volume, ...]:
        """All mounted volumes that hold files."""

    def forget(self) -> None:
        """Trust nothing that a device told before: the next look asks each of them again."""

    def silent(self) -> tuple[Silent, ...]:
        """What the last `mounted` left out because its device gave no answer."""

    def root(self, volume: Volume, folder: bytes = b"") -> Root:
        """A folder of a volume as a root; identity is the volume's plus the folder."""

    def folder(self, path: bytes, known_identity: str | None) -> Root | Absent:
        """A configured folder as a root.

        MUST answer Absent where the folder is missing, or lies on another volume than the one
        whose identity was recorded for it (P4).
        """
