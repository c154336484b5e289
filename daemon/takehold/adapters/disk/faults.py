"""The system's errors, told as what they mean for a file on a volume."""

from __future__ import annotations

import errno
import os

from takehold.formats.names import display
from takehold.model.errors import (
    FileMissing,
    NameRefused,
    NameTaken,
    NoRights,
    VolumeFull,
    VolumeGone,
    VolumeReadOnly,
    WorldError,
)
from takehold.model.volume import Root

_Meaning = tuple[type[WorldError], str, str]

_SAFE = "Copies already proven there are not touched."
_GONE: _Meaning = (
    VolumeGone,
    "the volume answers no more",
    "Connect it again; the work goes on by itself.",
)
_FULL: _Meaning = (
    VolumeFull,
    "no room is left",
    f"Free some room or connect another drive. {_SAFE}",
)
_REFUSED: _Meaning = (
    NameRefused,
    "the file system cannot hold this name",
    "Use a destination with another file system for this file.",
)
_MISSING: _Meaning = (
    FileMissing,
    "there is no such file",
    "See whether it was moved or removed; nothing else is affected.",
)
_RIGHTS: _Meaning = (NoRights, "the system refuses access", "Give this user the rights to it.")

_MEANINGS: dict[int, _Meaning] = {
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EFBIG: (
        VolumeFull,
        "the file is larger than this file system can hold (4 GiB less one byte on FAT32)",
        f"Use a drive formatted as exFAT, or another that takes large files. {_SAFE}",
    ),
    errno.EROFS: (
        VolumeReadOnly,
        "the volume takes no writes",
        f"See whether it is write-protected or needs a check of its file system. {_SAFE}",
    ),
    errno.EACCES: _RIGHTS,
    errno.EPERM: _RIGHTS,
    errno.ENOENT: _MISSING,
    errno.ENOTDIR: _MISSING,
    errno.ELOOP: (
        FileMissing,
        "a link stands there, and links are not followed",
        "Put the file itself there if it is wanted.",
    ),
    errno.EEXIST: (
        NameTaken,
        "the name is in use, in this or another spelling",
        "Nothing was overwritten; the file gets a place of its own.",
    ),
    errno.ENODEV: _GONE,
    errno.ENXIO: _GONE,
    errno.ENOTCONN: _GONE,
    errno.ESTALE: _GONE,
}

# exfat-fuse answers ENOENT for a name it cannot hold; the folder was open, so it is not missing.
_UNHOLDABLE = frozenset({errno.ENAMETOOLONG, errno.EILSEQ, errno.EINVAL, errno.ENOENT})
_NO_SUCH_NAME = frozenset({errno.ENAMETOOLONG, errno.EILSEQ})


def where(root: Root, path: bytes) -> str:
    """A file or folder below a root, as it is said to people."""
    return f"{display(path)} on {display(root.path)}" if path else display(root.path)


def fault(error: OSError, root: Root, path: bytes, *, naming: bool = False) -> WorldError:
    """The meaning of an error at a path; `naming` where a name was being given."""
    kind, words, do = _meaning(error.errno or 0, naming)
    return kind(f"{where(root, path)}: {words}.", do)


def _meaning(number: int, naming: bool) -> _Meaning:
    if naming and number in _UNHOLDABLE:
        return _REFUSED
    if number in _NO_SUCH_NAME:
        return _MISSING
    failed = f"the device failed ({os.strerror(number)})"
    unknown = WorldError, failed, "Check the cable and the reader; it is tried again."
    return _MEANINGS.get(number, unknown)


class told:  # noqa: N801  # a word before a block; a generator's costs four times as much
    """Turn the system's errors within into those of `takehold.model.errors`."""

    __slots__ = ("_naming", "_path", "_root")

    def __init__(self, root: Root, path: bytes, *, naming: bool = False) -> None:
        self._root = root
        self._path = path
        self._naming = naming

    def __enter__(self) -> None:
        pass

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        if isinstance(error, OSError):
            raise fault(error, self._root, self._path, naming=self._naming) from error


def refuse(error: int, root: Root, path: bytes) -> WorldError:
    """The same words for a refusal of our own."""
    return fault(OSError(error, os.strerror(error)), root, path)
