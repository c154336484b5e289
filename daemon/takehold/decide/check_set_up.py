"""Files that are not what the day was set up for: said once for a card and deviation.

A whole day at another rate is one decision for each card, not one for each take.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import NamedTuple

from takehold.decide.backup_words import full_name
from takehold.decide.looked_into import coding
from takehold.decide.noticed import decided_on, finding, these
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.formats.timecode import rate_name
from takehold.model.finding import Finding, Severity
from takehold.model.settings import Expect, Role, Settings
from takehold.model.sound import Kind

NAMED = 5
"""Files that are named; more are counted."""

_DO = "Check the recorder's set-up and tell post."
_AGAIN = "The primary's has the same bytes: decide there."
_SEVERITY = {"timecode-rate-unknown": Severity.NOTE}


class Unlike(NamedTuple):
    """How a file is not as expected: the code, and what is said."""

    code: str
    says: str


def set_up_findings(view: DayStanding, settings: Settings) -> Iterator[Finding]:
    """Sample rate, bit depth and timecode rate against what the config expects.

    Of a backup's files that are the primary's to the byte a note: decided on the primary's.
    """
    found: dict[tuple[int, Unlike, bool], list[Standing]] = defaultdict(list)
    for standing in view.files:
        if standing.current:
            mate = decided_on(standing, view)
            for unlike in _unexpected(standing, settings.expect):
                again = mate is not None and unlike.code not in _SEVERITY
                found[standing.load.id, unlike, again].append(standing)
    for (load, unlike, again), odd in found.items():
        code, says = unlike.code, unlike.says
        severity = Severity.NOTE if again else _SEVERITY.get(code, Severity.LOOK)
        do = _AGAIN if again else _DO if severity is Severity.LOOK else ""
        first = odd[0]
        if len(odd) == 1:
            place, number = display(first.recording.place), first.recording.id
            told = f"{full_name(first)}: {says}."
            yield finding(code, severity, place, told, do, number, covers=says)
            continue
        names = ", ".join(display(s.recording.path) for s in odd[:NAMED])
        more = f" and {len(odd) - NAMED} more" if len(odd) > NAMED else ""
        card, about = shown(first.load.label), these(s.recording for s in odd)
        told = f"{card}: {len(odd)} files: {says}: {names}{more}."
        subject = f"{card}: {says}" + (", as the primary's" if again else "")
        yield finding(code, severity, subject, told, do, load=load, covers=about)


def _unexpected(standing: Standing, expect: Expect) -> Iterator[Unlike]:
    """Each way in which a file is not as expected."""
    description = standing.recording.description
    made = description.format
    if made and expect.sample_rate and made.sample_rate != expect.sample_rate:
        wanted = f"the day is set up for {expect.sample_rate} Hz"
        yield Unlike("sample-rate", f"{made.sample_rate} Hz, {wanted}")
    other = coding(description)  # its bits are not those of a sample
    pack = standing.load.role is Role.BODYPACK  # each make has a depth of its own
    odd = made and expect.bit_depth and (other or made.bits not in (0, expect.bit_depth))
    if made and odd and not pack:
        bits = f"coded otherwise ({other})" if other else f"{made.bits} bits"
        yield Unlike("bit-depth", f"{bits}, the day is set up for {expect.bit_depth} bits")
    if description.kind is not Kind.WAVE or expect.timecode_rate is None:
        return
    rate, wanted = description.metadata.timecode_rate, rate_name(expect.timecode_rate)
    if rate is None:
        says = f"no timecode rate is named, the day is set up for {wanted}"
        yield Unlike("timecode-rate-unknown", says)
    elif rate != expect.timecode_rate:
        says = f"timecode at {rate_name(rate)}, the day is set up for {wanted}"
        yield Unlike("timecode-rate", says)
