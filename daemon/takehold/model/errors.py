"""The errors that have a meaning to a person. Everything else is a bug."""

from __future__ import annotations


class TakeholdError(Exception):
    """A foreseeable fault, said in a plain sentence.

    `code` is the stable word that docs/problems.md explains. `do` is what a person can do next.
    """

    code = "trouble"

    def __init__(self, says: str, do: str = "", code: str | None = None) -> None:
        super().__init__(says)
        self.says = says
        self.do = do
        if code is not None:
            self.code = code


class UsageError(TakeholdError):
    """Wrong usage or an unusable config: exit status 2."""

    code = "usage"


class WorldError(TakeholdError):
    """A device, a folder or the system failed; the work is tried again later."""

    code = "device-failed"


class VolumeGone(WorldError):
    """The volume answers no more: it was taken out, or its connection died."""

    code = "volume-gone"


class VolumeFull(WorldError):
    """No room is left on the volume."""

    code = "volume-full"


class VolumeReadOnly(WorldError):
    """The volume takes no writes."""

    code = "volume-read-only"


class NoRights(WorldError):
    """The system refuses access to the file or folder."""

    code = "no-rights"


class NameTaken(WorldError):
    """The name is in use on the destination, in this or another case or Unicode form."""

    code = "name-taken"


class NameRefused(WorldError):
    """The destination's file system cannot hold this name."""

    code = "name-refused"


class FileMissing(WorldError):
    """The volume is there and the file is not."""

    code = "file-missing"


class Unreadable(WorldError):
    """A file on a card cannot be read, or not all of it: the device gives an error."""

    code = "unreadable"


class Stalled(WorldError):
    """A device has not moved a byte for too long."""

    code = "stalled"


class Slept(WorldError):
    """The machine slept meanwhile; what it came into is begun again."""

    code = "slept"


class EvidenceError(TakeholdError):
    """The bytes are not what they should be. Never hidden by a silent retry."""

    code = "evidence"


class SourceChanged(EvidenceError):
    """A source file changed, shrank or grew while it was read."""

    code = "source-changed"


class HeaderDiffers(SourceChanged):
    """Two reads of a file's header told different things."""

    code = "header-differs"


class CopyDiffers(EvidenceError):
    """What the medium gave back is not what was written."""

    code = "copy-differs"


class BadSignature(EvidenceError):
    """A signature does not fit the bytes, the key or the namespace."""

    code = "bad-signature"


class Malformed(EvidenceError):
    """A manifest, receipt, key or list is not in its documented form."""

    code = "malformed"


class AnotherInstance(TakeholdError):
    """Another takehold works with this catalogue: exit status 4."""

    code = "another-instance"
