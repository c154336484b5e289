"""Names of physical disks that stay with them, whatever port and kernel number they get.

Layouts: the kernel's sysfs documentation (sysfs-block, sysfs-block-device, mmc-dev-attrs); the
page of the serial number: SCSI Primary Commands, VPD page 80h; `ID_…`: udev and libblkid.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping

from takehold.adapters.volumes.block import ask, backing_file, line_of, names_in, size_of, tags_in
from takehold.formats.names import display

# Fillers that makers leave in place of a number: only zeros, only ones, only blanks …
_FILLER = re.compile(r"(?:0x|naa\.|eui\.)?(.)?\1*", re.IGNORECASE)


def names_of(number: str, timeout_s: float, sysfs: str = "/sys") -> frozenset[str] | None:
    """What a whole disk is known by; None if the system did not answer in time.

    The first of: the maker's number ("wwn:", "serial:"), the partition table's ("table:"), those
    of all file systems on it ("fs:"), the kernel's for the time being ("dev:"). In a slot for
    cards the maker's number is that of the reader, so there what is written on the card comes
    first. A loop device is known by its file ("image:").
    """
    image = backing_file(number, sysfs)
    if image is not None:
        return frozenset({f"image:{display(image)}"})
    node = f"{sysfs}/dev/block/{number}"
    slot = line_of(f"{node}/removable") == "1"
    made = _engraved(node)
    if made and not slot:
        return frozenset({made})
    told = ask(number, "ID_PART_TABLE_UUID", timeout_s, sysfs)
    if told is None:
        return None
    made = made or _registered(told)
    if made and not slot:
        return frozenset({made})
    table = told.get("ID_PART_TABLE_UUID")
    if table:
        return frozenset({f"table:{table}"})
    written = _file_systems(number, timeout_s, sysfs)
    return None if written is None else written or frozenset({made or f"dev:{number}"})


def _engraved(node: str) -> str:
    """The maker's number as the kernel read it."""
    for path in ("wwid", "device/wwid"):
        wwid = line_of(f"{node}/{path}")
        if _tells(wwid):
            return f"wwn:{' '.join(wwid.split())}"
    # An MMC card's identification register holds its maker, name and serial number.
    read = [line_of(f"{node}/{path}") for path in ("device/cid", "serial", "device/serial")]
    serial = next(filter(_tells, (*read, _page_80(f"{node}/device/vpd_pg80"))), "")
    if not serial:
        return ""
    about = [line_of(f"{node}/device/{path}") for path in ("vendor", "model")]
    return f"serial:{' '.join(' '.join((*about, serial)).split())}"


def _registered(told: Mapping[str, str]) -> str:
    """The maker's number as udev found it."""
    wwn = told.get("ID_WWN_WITH_EXTENSION") or told.get("ID_WWN", "")
    if _tells(wwn):
        return f"wwn:{wwn}"
    # Without the short form there is no number in it, only the model.
    return f"serial:{told['ID_SERIAL']}" if _tells(told.get("ID_SERIAL_SHORT", "")) else ""


def _tells(number: str) -> bool:
    return not _FILLER.fullmatch(number.strip())


def _page_80(path: str) -> str:
    # Four bytes of head, the last two of them the length of the number behind.
    try:
        with open(path, "rb") as file:
            page = file.read()
    except OSError:
        return ""
    length = int.from_bytes(page[2:4], "big")
    return page[4 : 4 + length].strip(b" \0").decode("ascii", "replace")


def _file_systems(number: str, timeout_s: float, sysfs: str) -> frozenset[str] | None:
    """All of them, so that any two partitions of one disk have a name in common."""
    node = os.path.realpath(f"{sysfs}/dev/block/{number}")
    inner = [line_of(f"{node}/{n}/dev") for n in names_in(node) if _is_partition(f"{node}/{n}")]
    found: set[str] = set()
    for part in inner or [number]:
        told = ask(part, "ID_FS_UUID_ENC", timeout_s, sysfs)
        if told is None:
            return None
        uuid = tags_in(told).uuid
        if uuid:
            found.add(f"fs:{uuid}:{size_of(part, sysfs)}")
    return frozenset(found)


def _is_partition(node: str) -> bool:
    return os.path.exists(f"{node}/partition")
