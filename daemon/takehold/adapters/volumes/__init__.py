"""The system's mount table, by system."""

import sys

from takehold.ports.volumes import Volumes

if sys.platform == "darwin":
    from takehold.adapters.volumes.macos import MacVolumes as SystemVolumes
elif sys.platform == "win32":
    from takehold.adapters.volumes.windows import WindowsVolumes as SystemVolumes
else:
    from takehold.adapters.volumes.linux import LinuxVolumes as SystemVolumes

__all__ = ["volumes"]


def volumes() -> Volumes:
    """The mount table of the system this runs on."""
    return SystemVolumes()
