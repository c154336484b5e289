"""Findings about backup cards as a whole: what is odd about how they answer, once for each card."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta

from takehold.decide.by_digest import WHOLE
from takehold.decide.day import recorder_time
from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.formats.timecode import day_samples
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.settings import Role
from takehold.model.sound import Kind

LOOK, NOTE = Severity.LOOK, Severity.NOTE
# Two clocks that are this close may lie to either side of a day's beginning. Chosen, no source.
CLOSE = timedelta(hours=1)
NAMED = 3
# Both hold the same audio, as far as they reach.
_AUDIO = WHOLE | {Relation.SHORT, Relation.LONGER, Relation.REDUCED}
# Distances by timecode that are told one by one. Chosen, no source.
DISTANCES = 3

Pair = tuple[Standing, Standing]
"""A primary recording, and the backup's that answers it."""


def beside_findings(view: DayStanding) -> Iterator[Finding]:
    """Backups of another date, another timecode, or of two primary cards at once."""
    yield from _off_days(view)
    yield from _off_timecode(view)
    yield from _shared(view)


def answered_elsewhere(view: DayStanding) -> tuple[int, int]:
    """How many of a day's recordings are backups of another day's; and how many it has."""
    beside = {s.recording.id for s in view.beside}
    audio = [s for s in view.files if s.current and s.recording.description.kind is not Kind.OTHER]
    there = (
        s.load.role is Role.BACKUP
        and s.answer is not None
        and s.answer.relation in _AUDIO
        and not beside.isdisjoint(s.answer.others)
        for s in audio
    )
    return sum(there), len(audio)


def undated(view: DayStanding) -> bool:
    """Whether no recording of a day names its date: then it is that on which they were seen."""
    audio = [s for s in view.files if s.current and s.recording.description.kind is not Kind.OTHER]
    return bool(audio) and not any(s.recording.description.metadata.date for s in audio)


def packs_alone(view: DayStanding) -> bool:
    """Whether all recordings of a day are of transmitters' own cards, whose date may be off."""
    audio = [s for s in view.files if s.current and s.recording.description.kind is not Kind.OTHER]
    return bool(audio) and all(s.load.role is Role.BODYPACK for s in audio)


def _pairs(view: DayStanding, files: Iterable[Standing]) -> Iterator[Pair]:
    """The primary recordings among these with each file that answers them."""
    for mine in files:
        if mine.load.role is Role.PRIMARY and mine.answer is not None:
            for number in mine.answer.others:
                if (other := view.of(number)) is not None:
                    yield mine, other


def _off_days(view: DayStanding) -> Iterator[Finding]:
    """Backups that lie on another day than what they answer: once for a card and day."""
    ours: dict[tuple[int, str], list[Pair]] = defaultdict(list)
    theirs: dict[tuple[int, str], list[Pair]] = defaultdict(list)
    for mine, other in _pairs(view, (s for s in view.files if s.current)):
        if other.recording.day != view.day:
            ours[other.load.id, other.recording.day].append((mine, other))
    for mine, other in _pairs(view, view.beside):
        if other.recording.day == view.day:
            theirs[other.load.id, mine.recording.day].append((mine, other))
    for (_, day), pairs in sorted(ours.items()):
        yield _here(day, pairs)
    for (load, day), pairs in sorted(theirs.items()):
        yield from _there(load, day, pairs)


def _there(load: int, day: str, pairs: Sequence[Pair]) -> Iterator[Finding]:
    """On the backup's day; a person looks at what was taken for a recording and is another."""
    name = shown(pairs[0][1].load.label)
    files = {other.recording.id: other for _, other in pairs}
    of_that, strange = [
        [
            s
            for s in files.values()
            if (s.answer is not None and s.answer.relation in _AUDIO) is good
        ]
        for good in (True, False)
    ]
    if of_that:
        says = f"{name}: {_holds(len(of_that), 'audio')} of {day}; see that day."
        about = these(s.recording for s in of_that)
        yield finding("backup-day-off", NOTE, f"{name} {day}", says, load=load, covers=about)
    if strange:
        names = ", ".join(display(s.recording.path) for s in strange)
        says = f"{name}: taken for recordings of {day}, and not shown to hold their audio: {names}."
        do = "Listen: one may be a recording that no primary card holds."
        about = these(s.recording for s in strange)
        about += "".join(sorted({s.answer.relation for s in strange if s.answer is not None}))
        subject = f"{name} {day} other audio"
        yield finding("backup-day-off", LOOK, subject, says, do, load=load, covers=about)


def _here(day: str, pairs: Sequence[Pair]) -> Finding:
    """On the primary's day: which date its recorder says; a person looks if it is far off."""
    files = {other.recording.id: other for _, other in pairs}
    load = pairs[0][1].load
    name = shown(load.label)
    says = f"{name}: {_holds(len(files), 'audio')} of this day"
    if far := [pair for pair in pairs if _is_far(*pair)]:
        said = [{_date(pair[side]) for pair in pairs} for side in (1, 0)]
        if said[0] == said[1]:  # the time of one makes it another shooting day's
            said = [{_date_and_time(far[0][side])} for side in (1, 0)]
        dates = [", ".join(sorted(told)) for told in said]
        says += f", and its recorder says {dates[0]}, the primary's {dates[1]}."
        do = f"See which date is right. The backup's files are in the folder of {day}."
        severity = LOOK
    else:
        says += f", and its own time is of {day}."
        do, severity = f"They are in the folder of {day}.", NOTE
    about = these(s.recording for s in files.values())
    return finding(
        "backup-day-off", severity, f"{name} {day}", says, do, load=load.id, covers=about
    )


def _date(standing: Standing) -> str:
    return shown(standing.recording.description.metadata.date) or "no date"


def _date_and_time(standing: Standing) -> str:
    said = standing.recording.description.metadata
    return f"{_date(standing)} {shown(said.time) or 'without a time'}"


def _is_far(one: Standing, other: Standing) -> bool:
    """Whether the recorders' own times are so far apart that one clock must be wrong."""
    said = (s.recording.description.metadata for s in (one, other))
    first, second = (recorder_time(about.date, about.time) for about in said)
    if first is None or second is None:
        return _date(one) != _date(other)
    return abs(first - second) > CLOSE


def _holds(count: int, what: str) -> str:
    return f"{count} of its recordings {'holds' if count == 1 else 'hold'} {what}"


def _off_timecode(view: DayStanding) -> Iterator[Finding]:
    """The same audio at another timecode: once for a card and how far it is off.

    Beyond some distances once for all of them: a clock that runs by itself has one for each take.
    Once for what begins at 0 on one card only: there no timecode was written.
    """
    found: dict[tuple[int, int], dict[int, list[Pair]]] = defaultdict(lambda: defaultdict(list))
    untold: dict[tuple[int, str], list[Pair]] = defaultdict(list)
    for mine in view.files:
        answer = mine.answer
        if not mine.current or answer is None or answer.relation not in WHOLE:
            continue
        made = mine.recording.description.format
        for pair in _pairs(view, [mine]):
            begins = [one.recording.description.metadata.time_reference for one in pair]
            if 0 in begins and any(begins):
                untold[pair[1].load.id, "their" if begins[0] else "the primary's"].append(pair)
            elif made and (later := _later(*pair)):
                found[pair[1].load.id, made.sample_rate][later].append(pair)
    for (load, whose), pairs in sorted(untold.items()):
        yield _by_timecode(load, whose, f"and {whose} timecode is 0", pairs)
    for (load, rate), distances in sorted(found.items()):
        if len(distances) <= DISTANCES:
            for later, pairs in sorted(distances.items()):
                where = f"{_way(later, rate)} by timecode"
                yield _by_timecode(load, str(later), where, pairs)
            continue
        ends = [_way(end(distances), rate) for end in (min, max)]
        all_pairs = [pair for pairs in distances.values() for pair in pairs]
        where = f"from {ends[0]} to {ends[1]} by timecode"
        yield _by_timecode(load, f"{rate}", where, all_pairs)


def _by_timecode(load: int, about: str, where: str, pairs: Sequence[Pair]) -> Finding:
    name = shown(pairs[0][1].load.label)
    names = [display(other.recording.path) for _, other in pairs]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    says = f"{name}: {_holds(len(names), 'the same audio')} {where}: "
    says += f"{', '.join(names[:NAMED])}{more}."
    return finding("backup-timecode", NOTE, f"{name} {about}", says, load=load)


def _way(later: int, rate: int) -> str:
    return f"{_span(abs(later), rate)} {'later' if later > 0 else 'earlier'}"


def _later(mine: Standing, other: Standing) -> int:
    """How many samples later the backup begins by TimeReference, as far as that is to be said."""
    one, two = mine.recording.description, other.recording.description
    begins = one.metadata.time_reference, two.metadata.time_reference
    assert mine.answer is not None
    if one.frames != two.frames or begins[0] is None or begins[1] is None:
        return mine.answer.later or 0
    if one.format is None or two.format is None or one.format.sample_rate != two.format.sample_rate:
        return 0
    day = day_samples(one.format.sample_rate, one.metadata.timecode_rate)
    return (begins[1] - begins[0] + day // 2) % day - day // 2 if day else 0


def _span(frames: int, rate: int) -> str:
    """So many samples in hours, minutes and seconds; below 1 ms as samples."""
    if frames * 1000 < rate:
        return "1 sample" if frames == 1 else f"{frames} samples"
    minutes, rest = divmod(frames / rate, 60)
    words = [f"{int(minutes) // 60} h"] if minutes >= 60 else []
    words += [f"{int(minutes) % 60} min"] if minutes >= 1 else []
    words += [f"{rest:.3f} s"] if rest >= 0.0005 or not words else []
    return " ".join(words)


def _shared(view: DayStanding) -> Iterator[Finding]:
    """Primary cards with the same takes, and one backup of both: once for each two cards."""
    found: dict[tuple[int, int], list[Pair]] = defaultdict(list)
    for mine in view.files:
        first = _holder(view, mine) if mine.current else None
        if first is not None and _same(mine, first):
            found[mine.load.id, first.load.id].append((mine, first))
    for (load, _), pairs in sorted(found.items()):
        name, other = (shown(s.load.label) for s in pairs[0])
        says = f"{name}: {_holds(len(pairs), 'the same')} as {other}; one backup answers both."
        subject = f"{name} {other}"
        yield finding("backup-shared", NOTE, subject, says, load=load)


def _same(one: Standing, other: Standing) -> bool:
    """Whether both hold one payload."""
    sounds = one.recording.sound, other.recording.sound
    if sounds[0] is None or sounds[1] is None:
        return one.recording.digests == other.recording.digests
    return sounds[0].digest == sounds[1].digest


def _holder(view: DayStanding, mine: Standing) -> Standing | None:
    """The recording of another primary card whose backup answers this one, too."""
    for primary, other in _pairs(view, [mine]):
        mates = other.answer.others if other.answer else ()
        if primary.recording.id in mates:
            return None
        for mate in filter(None, map(view.of, mates)):
            if mate.load.id != mine.load.id and mate.load.role is Role.PRIMARY:
                return mate
    return None
