"""The laptop's own keep of manifests: a folder with a folder for each day."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager

from takehold.adapters.whole_file import write_whole
from takehold.formats.names import shown
from takehold.model.errors import (
    FileMissing,
    NameRefused,
    NameTaken,
    NoRights,
    VolumeFull,
    VolumeReadOnly,
    WorldError,
)

_KINDS: dict[int | None, type[WorldError]] = {
    errno.ENOSPC: VolumeFull,
    errno.EDQUOT: VolumeFull,
    errno.EROFS: VolumeReadOnly,
    errno.EACCES: NoRights,
    errno.EPERM: NoRights,
    errno.ENOENT: FileMissing,
    errno.ENAMETOOLONG: NameRefused,
}


class FolderArchive:
    """ports/archive.Archive below one folder of the internal disk. Nothing is ever replaced."""

    def __init__(self, folder: str) -> None:
        self._folder = folder

    def keep(self, day: str, files: dict[str, bytes]) -> None:
        """Keep a revision's files, in their order. What stands there with the same bytes is fine.

        Raises NameTaken, before anything is written, if a name holds other bytes; WorldError.
        """
        folder = self._at(day)
        with _errors_said(folder):
            os.makedirs(folder, exist_ok=True)
            fresh = [name for name in files if not self._held(day, name, files[name])]
            for name in fresh:
                write_whole(os.fsencode(self._at(day, name)), files[name])
            for touched in (folder, self._folder):
                _flush(touched)

    def read(self, day: str, name: str) -> bytes:
        """One file, or FileMissing."""
        path = self._at(day, name)
        with _errors_said(path), open(path, "rb") as file:
            return file.read()

    def names(self, day: str) -> tuple[str, ...]:
        """The names kept for a day, sorted."""
        return self._listed(self._at(day))

    def days(self) -> tuple[str, ...]:
        """Every day of which something is kept, sorted."""
        return tuple(day for day in self._listed(self._folder) if self.names(day))

    def _at(self, *parts: str) -> str:
        """A path below the folder; names can come from a command line."""
        for part in parts:
            if not part or part.startswith(".") or {"/", "\\", "\0"} & set(part):
                raise NameRefused(f"{shown(part)} is no name in the archive.", "Look at the name.")
        return os.path.join(self._folder, *parts)

    def _held(self, day: str, name: str, content: bytes) -> bool:
        """Whether these bytes stand under that name; NameTaken if others do."""
        try:
            held = self.read(day, name)
        except FileMissing:
            return False
        if held != content:
            raise NameTaken(
                f"The archive already holds {shown(name)} of {shown(day)}, with other content."
                " It was left as it is.",
                "Write the next revision; what was signed once is never replaced.",
            )
        return True

    def _listed(self, folder: str) -> tuple[str, ...]:
        with _errors_said(folder):
            try:
                return tuple(sorted(n for n in os.listdir(folder) if not n.startswith(".")))
            except (FileNotFoundError, NotADirectoryError):
                return ()


def _flush(folder: str) -> None:
    """Make the names of a folder last. Windows opens no folders and does it by itself."""
    if os.name == "nt":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


@contextmanager
def _errors_said(path: str) -> Iterator[None]:
    try:
        yield
    except FileExistsError as error:
        raise NameTaken(
            f"The archive's {shown(path)} was written by another program just now.",
            "It is tried again.",
        ) from error
    except OSError as error:
        kind = _KINDS.get(error.errno, WorldError)
        raise kind(
            f"The archive's {shown(path)} cannot be used: {error.strerror}.",
            "Look at takehold's state folder. What was already kept is safe.",
        ) from error
