"""A commented config from a few answers: what `takehold init` writes."""

from __future__ import annotations

from collections.abc import Sequence

from takehold.formats.timecode import rate_name
from takehold.model.settings import Destination, Expect, Source

NOTHING_EXPECTED = Expect()

_TOP = """\
# The config of takehold. docs/config.md tells every key; lines that begin with # are not read.

production = {production}
unit = "main"
mixer = {mixer}

copies_required = {copies}          # proven copies of each recording, each on another disk
day_starts_at = "06:00"      # what is recorded before belongs to the day before
{wrap_at}the day's manifest is written then, and at `takehold wrap`
checksums = ["xxh64", "sha256"]

# What the day is set up for. Only lines without a # before them are checked.
[expect]
{timecode_rate}"24", "25", "29.97", "29.97df", ...
{sample_rate}
{bit_depth}

# Where recordings come from: cards by their label, * for any text; a watch folder by its path.
"""

_DESTINATIONS = """\
# Where the copies go: drives by their label, folders by their path.
"""


def template(
    production: str,
    mixer: str,
    sources: Sequence[Source],
    destinations: Sequence[Destination],
    *,
    wrap_at: int | None = None,
    expect: Expect = NOTHING_EXPECTED,
) -> str:
    """The text of a config; reading it back gives these answers and the defaults.

    `wrap_at` is in minutes since midnight. Two copies are asked for, or one where there is one
    destination.
    """
    wrap = None if wrap_at is None else quoted(f"{wrap_at // 60:02}:{wrap_at % 60:02}")
    rate = None if expect.timecode_rate is None else quoted(rate_name(expect.timecode_rate))
    top = _TOP.format(
        production=quoted(production),
        mixer=quoted(mixer),
        copies=min(2, len(destinations)),
        wrap_at=_line("wrap_at", wrap, '"21:30"').ljust(29) + "# ",
        timecode_rate=_line("timecode_rate", rate, '"23.976"').ljust(29) + "# ",
        sample_rate=_line("sample_rate", expect.sample_rate, "48000"),
        bit_depth=_line("bit_depth", expect.bit_depth, "24"),
    )
    cards = [_section("source", of, role=quoted(of.role)) for of in sources]
    drives = [
        _section("destination", to, folder=quoted(_text(to.folder)) if to.folder else None)
        for to in destinations
    ]
    return "\n".join((top, *cards, _DESTINATIONS, *drives))


def _line(key: str, value: object, example: str) -> str:
    """A key that is set, or one that only shows how."""
    return f"# {key} = {example}" if value is None else f"{key} = {value}"


def _section(heading: str, of: Source | Destination, **more: str | None) -> str:
    place = "path" if of.path is not None else "label"
    where = _text(of.path) if of.path is not None else of.label or ""
    keys = {"name": quoted(of.name), place: quoted(where), **more}
    lines = [f"{key} = {value}" for key, value in keys.items() if value is not None]
    return "\n".join((f"[[{heading}]]", *lines, ""))


def _text(path: bytes) -> str:
    return path.decode("utf-8", "surrogateescape")


def quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0.0, "String")."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04X}" for c in plain) + '"'
