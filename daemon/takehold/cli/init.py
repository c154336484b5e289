"""`takehold init`: asks the few things it must know, writes a config and a signing key."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Sequence
from typing import Any

from takehold.formats.config import read_config
from takehold.formats.config_rules import EXPECT, TOP, Key, Refused, filled, label, path, plain
from takehold.formats.config_template import template
from takehold.formats.names import display, shown
from takehold.model.errors import NameTaken, NoRights, TakeholdError, UsageError, WorldError
from takehold.model.settings import Destination, Expect, Role, Source

Ask = Callable[[str, str], str]

_TRIES = 3
_MOST_DESTINATIONS = 9
_NONE = ("", "none", "-")


def init(config_path: str, key_path: str, *, ask: Ask, force: bool = False) -> list[str]:
    """Write a commented config and make a signing key; the answer is what was done, in lines.

    `ask(question, default)` gives the answer to a question. Nothing is overwritten: an existing
    key is kept, and an existing config stops it with UsageError, or with `force` is set aside
    under a free name. Raises UsageError for answers that do not do, WorldError where the files
    cannot be written.
    """
    if os.path.lexists(config_path) and not force:
        raise UsageError(
            f"There is a config {_name(config_path)} already; nothing was changed.",
            "Edit it, or use --force to set it aside and begin a new one.",
        )
    text = _config(ask)
    lines = [_key(key_path)]
    if os.path.lexists(config_path):
        lines.append(f"The earlier config was set aside as {_name(_set_aside(config_path))}.")
    _write_new(config_path, text.encode("utf-8", "surrogateescape"))
    lines.append(f"Wrote {_name(config_path)}. Next: takehold preflight")
    return lines


def _config(ask: Ask) -> str:
    """The config's text from the answers, read back to be sure that it does."""
    production = _answer(ask, "Production", "", filled)
    mixer = _answer(ask, "Mixer", "", plain)
    used: dict[str, str] = {}
    primary = _answer(ask, _PRIMARY, "SND_A*", _unused(used, "the primary card"))
    sources = [Source("primary", Role.PRIMARY, label=primary)]
    backup = _answer(ask, _BACKUP, "SND_B*", _or_none(_unused(used, "the backup card")))
    if backup:
        sources.append(Source("backup", Role.BACKUP, label=backup))
    destinations = _destinations(ask, {source.name for source in sources}, used)
    wrap_at = _answer(ask, _WRAP, "", _or_none(_key_of("wrap_at", TOP)))
    expect = Expect(
        _answer(ask, _RATE, "", _or_none(_key_of("timecode_rate", EXPECT))),
        _answer(ask, _HZ, "", _or_none(_key_of("sample_rate", EXPECT))),
        _answer(ask, _BITS, "", _or_none(_key_of("bit_depth", EXPECT))),
    )
    text = template(production, mixer, sources, destinations, wrap_at=wrap_at, expect=expect)
    read_config(text, "the new config")
    return text


_PRIMARY = "Label of the primary card, * for any text"
_BACKUP = "Label of the backup card, none if there is none"
_DRIVE = "Drive {} for the copies: its label, or the full path of a folder"
_WRAP = "Time at which the manifest is written by itself, as in 21:30; empty: never"
_RATE = "Timecode rate, as in 25 or 29.97df; empty: not checked"
_HZ = "Sample rate in Hz, as in 48000; empty: not checked"
_BITS = "Bit depth, 16, 24 or 32; empty: not checked"


def _destinations(ask: Ask, names: set[str], used: dict[str, str]) -> list[Destination]:
    found: list[Destination] = []
    for number in range(1, _MOST_DESTINATIONS + 1):
        question = _DRIVE.format(number) + (", none if that is all" if found else "")
        default = f"SHUTTLE_{number}" if number <= 2 else "none"
        place_of = _unused(used, f"drive {number}")
        read = _or_none(place_of) if found else place_of
        place = _answer(ask, question, default, read)
        if place is None:
            break
        name = _free_name(place, names)
        names.add(name)
        if isinstance(place, bytes):
            found.append(Destination(name, path=place))
        else:
            found.append(Destination(name, label=place))
    return found


def _unused(used: dict[str, str], what: str) -> Callable[[object], Any]:
    """Reads a label, or for a drive a full path as bytes; notes what uses it, and takes it once."""

    def read(answer: object) -> str | bytes:
        place = _place(answer) if what.startswith("drive") else _label(answer)
        key = str(place).lower()
        other = used.get(key)
        if other is not None:
            thing = f"the label {shown(place)}" if isinstance(place, str) else "that folder"
            raise Refused(f"{thing} is used for {other} already; give {what} another")
        used[key] = what
        return place

    return read


def _place(answer: object) -> str | bytes:
    """A label, or a full path as bytes."""
    return path(answer) if re.match(r"[/~\\]|[A-Za-z]:[\\/]", str(answer)) else _label(answer)


def _label(answer: object) -> str:
    """A label as cards and drives have them: a path, or part of one, is none."""
    text = label(answer)
    if set(":/\\") & set(text):
        raise Refused("a label holds no colon and no slash; a folder is given by its full path")
    return text


def _key_of(name: str, section: Sequence[Key]) -> Callable[[object], Any]:
    """Reads an answer as the config's key of that name does; digits alone are a number."""
    key = next(key for key in section if key.name == name)

    def read(answer: object) -> Any:
        text = str(answer).strip()
        number = name in ("sample_rate", "bit_depth") and text.isdecimal() and len(text) < 9
        try:
            return key.read(int(text) if number else text)
        except Refused:
            takes = key.takes.replace(" in quotes", "").replace('"', "")  # those are the config's
            raise Refused(f"it takes {takes}") from None

    return read


def _or_none(read: Callable[[object], Any]) -> Callable[[object], Any]:
    def read_or_none(answer: object) -> Any:
        return None if str(answer).strip().lower() in _NONE else read(answer)

    return read_or_none


def _answer(ask: Ask, question: str, default: str, read: Callable[[object], Any]) -> Any:
    """An answer that does; a wrong one is asked for again, a few times."""
    again, answer, hint = "", "", ""
    for _ in range(_TRIES):
        answer = _unquoted(ask(again + question, default))
        try:
            return read(answer)
        except Refused as refused:
            hint = refused.hint or "it is empty or not of that form"
            again = f"{shown(answer)!r} does not do: {hint}.\n"
    raise UsageError(
        f"{question}: {shown(answer)!r} does not do: {hint}. Nothing was written.",
        "Start again; docs/config.md tells what each key takes.",
    )


def _unquoted(answer: str) -> str:
    """Without a pair of quotes around it, as text stands in the config."""
    text = answer.strip()
    pair = len(text) > 1 and text[0] == text[-1] and text[0] in "\"'"
    return text[1:-1] if pair else answer


def _free_name(place: str | bytes, names: set[str]) -> str:
    """A destination's name from its label or its folder's name."""
    text = place if isinstance(place, str) else place.decode("ascii", "replace")
    last = re.split(r"[/\\]", text)[-1].lower()
    stem = re.sub(r"[^a-z0-9.]+", "-", last).strip(".-")[:50] or "drive"
    tries = (stem if number == 1 else f"{stem}-{number}" for number in range(1, len(names) + 2))
    return next(name for name in tries if name not in names)


def _key(key_path: str) -> str:
    """Make the signing key, or keep and check the one that is there."""
    from takehold.adapters.signer import complete_key, load_key, new_key

    path = os.fsencode(key_path)
    if os.path.lexists(path):
        signer = load_key(path)
        complete_key(path, signer)
        return f"Kept the signing key {_name(key_path)}, {signer.fingerprint()}."
    _make_folder(key_path)
    return f"Made the signing key {_name(key_path)}, {new_key(path).fingerprint()}."


def _set_aside(config_path: str) -> str:
    """Keep an earlier config under a free name, then remove the old name."""
    try:
        with open(config_path, "rb") as file:
            content = file.read()
        for number in range(1, 1000):
            aside = f"{config_path}.old-{number}"
            with contextlib.suppress(NameTaken):
                _write_new(aside, content)
                os.unlink(config_path)
                return aside
    except OSError as error:
        raise _failed(config_path, error) from error
    raise UsageError(f"Too many earlier configs beside {_name(config_path)}.", "Move them away.")


def _write_new(path: str, content: bytes) -> None:
    """Write a file that is not there yet, whole or not at all."""
    from takehold.adapters.whole_file import write_whole

    _make_folder(path)
    try:
        write_whole(os.fsencode(path), content)
    except FileExistsError as error:
        raise NameTaken(f"There is a file {_name(path)} already; it was left alone.") from error
    except OSError as error:
        raise _failed(path, error) from error


def _make_folder(path: str) -> None:
    try:
        os.makedirs(os.path.dirname(os.path.abspath(path)), exist_ok=True)
    except OSError as error:
        raise _failed(path, error) from error


def _failed(path: str, error: OSError) -> TakeholdError:
    if isinstance(error, PermissionError):
        return NoRights(f"The system does not let this user write {_name(path)}.")
    reason = error.strerror or type(error).__name__
    return WorldError(f"The file {_name(path)} could not be written: {reason}.")


def _name(path: str) -> str:
    return display(os.fsencode(path))
