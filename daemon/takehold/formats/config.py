"""The config's text to `Settings`, or every complaint about it at once.

Layout: TOML 1.0.0; the keys are tables in config_rules, for people in docs/config.md.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, time
from itertools import combinations, product
from typing import Any

from takehold.formats.config_rules import MOST_ENTRIES, SECTIONS, Refused
from takehold.formats.config_severity import severity, takes
from takehold.formats.toml_lines import Path, lines_of
from takehold.model.errors import UsageError
from takehold.model.finding import Severity
from takehold.model.settings import Destination, Expect, Settings, Source

LARGEST_BYTES = 256 * 1024
# A byte order mark of UTF-16, either way round, as bytes that are no UTF-8 are read (PEP 383).
UTF_16 = ("\udcff\udcfe", "\udcfe\udcff")
MOST_DOTS = 200  # on one line: the standard library's time grows with the square of a key's parts
_LISTS = ("source", "destination")
_COPIES = next(f.default for f in fields(Settings) if f.name == "copies_required")


class ConfigError(UsageError):
    """The config cannot be used. `complaints` are sentences, in the order of their lines."""

    code = "config"

    def __init__(self, complaints: tuple[str, ...]) -> None:
        super().__init__(
            "\n".join(complaints),
            "Correct the config and start again; docs/config.md tells what each key takes. "
            "Nothing was started.",
        )
        self.complaints = complaints


def read_config(text: str, name: str) -> Settings:
    """The whole config, validated.

    `text` is the file's content decoded as UTF-8 with surrogate escapes, so that a path whose
    bytes are not UTF-8 keeps them; `name` is the file's name as complaints show it. Raises
    ConfigError with all complaints.
    """
    if len(text.encode("utf-8", "surrogatepass")) > LARGEST_BYTES:
        raise ConfigError((f"{name}: larger than 256 KiB: takes a config file",))
    if text.startswith(UTF_16):
        raise ConfigError((f"{name}: is UTF-16: takes UTF-8. Save it as UTF-8",))
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")  # some editors write a byte order mark
    dotted = [n for n, line in enumerate(text.split("\n"), 1) if line.count(".") > MOST_DOTS]
    if dotted:
        says = f"more than {MOST_DOTS} dots: takes plain keys"
        raise ConfigError((f"{name}, line {dotted[0]}: {says}",))
    try:
        tables = tomllib.loads(text)
    except RecursionError:
        raise ConfigError((f"{name}: nested too deep: takes plain keys and sections",)) from None
    except tomllib.TOMLDecodeError as error:
        raise ConfigError((_broken(text, name, str(error)),)) from None
    except ValueError:  # Python converts no number of more than 4,300 digits
        raise ConfigError((f"{name}: a number is too long: takes a shorter one",)) from None
    return _Check(name, lines_of(text)).settings(tables)


@dataclass(slots=True)
class _Check:
    """One reading of a config; complaints gather with the lines that they are about."""

    name: str
    lines: dict[Path, int]
    complaints: list[tuple[int, str]] = field(default_factory=list)

    def settings(self, tables: dict[str, Any]) -> Settings:
        lists = {key: self._list(tables.pop(key, None), key) for key in _LISTS}
        expect = self._expect(tables.pop("expect", {}))
        severities = self._severities(tables.pop("severity", {}))
        top = self._keys(tables, "", ())
        sources = [(path, s) for path, values in lists["source"] if (s := _source(values))]
        targets = [(p, d) for p, values in lists["destination"] if (d := _destination(values))]
        self._copies(top, tables, len(lists["destination"]))
        for path, says in across(sources, targets):
            self._complain(path, says)
        if self.complaints:
            raise ConfigError(tuple(says for _, says in sorted(self.complaints)))
        return Settings(
            **top,
            sources=tuple(s for _, s in sources),
            destinations=tuple(d for _, d in targets),
            expect=Expect(**expect),
            severities=severities,
        )

    def _complain(self, path: Path, says: str) -> None:
        line = self.lines.get(path, 0)
        where = f"{self.name}, line {line}" if line else self.name
        self.complaints.append((line, f"{where}: {says}"))

    def _list(self, found: object, key: str) -> list[tuple[Path, dict[str, Any]]]:
        """The entries of [[source]] or [[destination]], each with what could be read of it."""
        if isinstance(found, dict):
            self._complain((key,), f"[{key}]: takes two brackets, [[{key}]], once for each")
            return []
        if found is None or found == []:
            self._complain((), f"{key}: missing: takes at least one [[{key}]]")
            return []
        if not isinstance(found, list) or any(not isinstance(one, dict) for one in found):
            self._complain((key,), f"{key} = {shown(found)}: takes [[{key}]] sections")
            return []
        if len(found) > MOST_ENTRIES:
            self._complain((key,), f"{len(found)} times [[{key}]]: takes at most {MOST_ENTRIES}")
            return []
        return [((key, i), self._entry(one, key, (key, i))) for i, one in enumerate(found)]

    def _entry(self, entry: dict[str, Any], key: str, path: Path) -> dict[str, Any]:
        values = self._keys(entry, key, path)
        places = [place for place in ("label", "path") if place in entry]
        if len(places) == 2 or not (places or "url" in entry):
            has = "both" if places else "neither"
            self._complain(path, f"[[{key}]] has {has}: takes either label or path")
        elif "folder" in entry and "path" in entry:
            says = f"[[{key}]] folder: goes with a label: takes no path beside it"
            self._complain((*path, "folder"), says)
        return values

    def _expect(self, found: object) -> dict[str, Any]:
        if not isinstance(found, dict):
            self._complain(("expect",), f"expect = {shown(found)}: takes an [expect] section")
            return {}
        return self._keys(found, "expect", ("expect",))

    def _severities(self, found: object) -> tuple[tuple[str, Severity], ...]:
        if not isinstance(found, dict):
            self._complain(("severity",), f"severity = {shown(found)}: takes a [severity] section")
            return ()
        given = []
        for code, value in found.items():
            try:
                given.append((code, severity(code, value)))
            except Refused as refused:
                hint = f"{refused.hint}: " if refused.hint else ""
                says = f"[severity] {_key(code)} = {shown(value)}: {hint}takes {takes(code)}"
                self._complain(("severity", code), says)
        return tuple(sorted(given))

    def _keys(self, table: dict[str, Any], section: str, at: Path) -> dict[str, Any]:
        """The values of a table that its keys take; the others are complained about."""
        known = {key.name: key for key in SECTIONS[section]}
        heading = f"[[{section}]] " if section in _LISTS else f"[{section}] " if section else ""
        values = {}
        for word, value in table.items():
            key = known.get(word)
            says = f"{heading}{_key(word)} = {shown(value)}"
            if key is None:
                self._complain((*at, word), f"{says}: unknown key{_nearest(word, section)}")
                continue
            try:
                values[word] = key.read(value)
            except Refused as refused:
                hint = f"{refused.hint}: " if refused.hint else ""
                self._complain((*at, word), f"{says}: {hint}takes {key.takes}")
        for key in known.values():
            if key.needed and key.name not in table:
                self._complain(at, f"{heading}{key.name}: missing: takes {key.takes}")
        return values

    def _copies(self, top: dict[str, Any], tables: dict[str, Any], destinations: int) -> None:
        """No more copies than destinations."""
        required = top.get("copies_required", _COPIES)
        if "copies_required" in tables and "copies_required" not in top:
            return
        if 0 < destinations < required:
            default = "" if "copies_required" in tables else ", as it is unless set"
            self._complain(
                ("copies_required",) if not default else (),
                f"copies_required = {required}{default}: takes at most the number of "
                f"[[destination]] sections, here {destinations}",
            )


Placed = Sequence[tuple[Path, Source]]
Targets = Sequence[tuple[Path, Destination]]
Complaints = Iterator[tuple[Path, str]]


def across(sources: Placed, destinations: Targets) -> Complaints:
    """Complaints about entries that do not go together, each with the path of the later one."""
    named: list[tuple[Path, Source | Destination]] = [*sources, *destinations]
    for (_, one), (path, other) in combinations(named, 2):
        if one.name.lower() == other.name.lower():
            yield path, f'[[{path[0]}]] name = "{other.name}": in use: takes a name of its own'
    yield from _two_sources(sources)
    yield from _two_destinations(destinations)
    for (_, source), (path, to) in product(sources, destinations):
        yield from _both_ways(source, path, to)


def _two_sources(sources: Placed) -> Complaints:
    for (_, a), (path, b) in combinations(sources, 2):
        if _same_label(a, b):
            says = f'label = {shown(b.label)}: "{a.name}" has it: takes another one'
            yield path, f"[[source]] {says}"
        if a.path and b.path and _nested(a.path, b.path):
            says = f'path of "{b.name}": same as, in or around that of "{a.name}"'
            yield path, f"[[source]] {says}: takes a folder apart from it"


def _two_destinations(destinations: Targets) -> Complaints:
    for (_, a), (path, b) in combinations(destinations, 2):
        same_folder = bool(a.path) and a.path == b.path
        if same_folder or (_same_label(a, b) and a.folder == b.folder):
            says = f'"{b.name}": the place of "{a.name}"'
            yield path, f"[[destination]] {says}: takes one of its own"


def _both_ways(source: Source, path: Path, to: Destination) -> Complaints:
    if _same_label(source, to):
        says = f'label = {shown(to.label)}: source "{source.name}" has it'
        yield path, f"[[destination]] {says}: takes another one, a card is never written to"
    if source.path and to.path and _nested(source.path, to.path):
        says = f'path of "{to.name}": same as, in or around that of source "{source.name}"'
        yield path, f"[[destination]] {says}: takes a folder apart from it"


def _same_label(one: Source | Destination, other: Source | Destination) -> bool:
    """Labels are matched in any case, as FAT keeps them in upper case."""
    return bool(one.label and other.label) and str(one.label).lower() == str(other.label).lower()


def _nested(one: bytes, other: bytes) -> bool:
    """Whether two full paths are equal or one lies in the other."""

    def parts(path: bytes) -> list[bytes]:
        if not path.startswith(b"/"):  # a drive letter or share: any case, either slash
            path = path.replace(b"\\", b"/").lower()
        return path.rstrip(b"/").split(b"/")

    return all(a == b for a, b in zip(parts(one), parts(other), strict=False))


def _source(values: dict[str, Any]) -> Source | None:
    """A source whose parts could all be read."""
    if not {"name", "role"} <= values.keys() or len(values.keys() & {"label", "path"}) != 1:
        return None
    return Source(**values)


def _destination(values: dict[str, Any]) -> Destination | None:
    """A destination whose parts could all be read."""
    if "name" not in values or len(values.keys() & {"label", "path"}) != 1:
        return None
    return Destination(**values)


def _nearest(word: str, section: str) -> str:
    """What may have been meant by an unknown key."""
    from difflib import get_close_matches  # noqa: PLC0415  only a faulty config waits for it

    for other, keys in SECTIONS.items():
        if any(key.name == word for key in keys):
            if not other:
                return ": belongs above the first [section]"
            return f": belongs under {f'[[{other}]]' if other in _LISTS else f'[{other}]'}"
    known = [key.name for key in SECTIONS[section]]
    known += [] if section else ["expect", "severity", *_LISTS]
    near = get_close_matches(word[:64].lower(), known, 1)
    return f": the nearest known one is {near[0]}" if near else f": takes {', '.join(known)}"


def _broken(text: str, name: str, says: str) -> str:
    """A complaint about text that is not TOML, with the line that broke it."""
    lines = text.split("\n")
    found = re.search(r"\(at line (\d+), column \d+\)$", says)
    filled = [number for number, line in enumerate(lines, 1) if line.strip()]
    line = int(found[1]) if found else max(filled, default=1)
    written = _cut(lines[line - 1].strip()) if line <= len(lines) else ""
    if "Unescaped" in says:
        hint = "takes single quotes around text with a backslash, as in 'D:\\audio'"
    elif "overwrite" in says.lower():
        hint = "takes each key once"
    elif not found and "'='" not in says:
        hint = "the file ends before it is complete: takes a closing quote or bracket"
    else:
        hint = "takes key = value; text and times stand in quotes"
    return f"{name}, line {line}: {written}: {hint}"


def shown(value: object) -> str:
    """A value as TOML writes it, short and printable."""
    match value:
        case bool():
            text = "true" if value else "false"
        case str():
            text = json.dumps(value, ensure_ascii=False)
        case int() if value.bit_length() > 256:
            text = "a very long number"
        case date() | time():
            text = value.isoformat()
        case [*items] if all(isinstance(one, str | int | float) for one in items):
            text = "[" + ", ".join(shown(one) for one in items[:9]) + "]"
        case list() | dict():
            text = "[…]" if isinstance(value, list) else "{…}"
        case _:
            text = repr(value)
    return _cut(text)


def _key(word: str) -> str:
    """A key as TOML writes it."""
    return word if re.fullmatch(r"[A-Za-z0-9_-]{1,64}", word) else shown(word)


def _cut(text: str, longest: int = 80) -> str:
    return _printable(text if len(text) <= longest else text[: longest - 1] + "…")


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)
