"""The checks of a day's takes: what their metadata tell, with no look at the audio.

Every code is explained in docs/problems.md.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterator
from functools import lru_cache
from itertools import pairwise

from takehold.decide.check_changes import change_findings
from takehold.decide.check_opaque import opaque_findings
from takehold.decide.noticed import finding
from takehold.decide.recorder import UNCOUNTED, Recorder, by_source, length, recorders
from takehold.decide.standing import DayStanding
from takehold.decide.take_names import same_number, same_words, scene_and_take
from takehold.formats.names import brief
from takehold.formats.timecode import day_samples, label
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings
from takehold.model.take import Part, Take

HOLD, LOOK = Severity.HOLD, Severity.LOOK
# Seconds that two takes may share: a frame at the slowest rate, for recorders round.
SHARED = 1 / 23
# Seconds that a recorder may lose where it goes on in a new file; more is a part that is missing.
LOST = 10
# So many takes that begin alike are no accident. Chosen, no source.
FEWEST = 3
# Takes whose numbers are further apart were not counted on from each other.
FAR = 20
# Missing numbers of a set are named up to this size.
NAMED = 64
# Their number is given again, to the take made in their stead. (Common practice, no source.)
SPOILED = frozenset({"FALSE_START", "NO_GOOD"})
# It may keep the number of the take that it picks up. (Common practice, no source.)
PICKUP = "PICKUP"
MISCOUNTED = "Look in the recorder and the paperwork: was it recorded, deleted or miscounted?"
_COUNTED = re.compile(r"([^\W\d_]*)0*([0-9]{1,6})")
# A pick-up ("3PU") or a lettered take ("3A") has its number from the others.
_FURTHER = re.compile(r"0*([0-9]{1,6})(?:\D.*)?")


def take_findings(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Everything to say of a day's takes."""
    made = recorders(view, settings)
    yield from opaque_findings(view, (take for recorder in made for take in recorder.takes))
    for recorder in made:
        whole = {_key(take) for take in recorder.beside if _lacks(take, view) == ""}
        for take in recorder.takes:
            yield from _set(recorder, take, view, whole)
            yield from _parts(recorder, take)
        yield from _overlaps(recorder)
        yield from _twice(recorder)
        yield from change_findings(recorder, settings)
    told: set[Hashable] = set()
    for recorder in by_source(made):
        count = _counted_on(recorder)
        yield from _left_out(recorder, count) if count else _numbers(recorder, view, ledger, told)


def _key(take: Take) -> Hashable:
    return same_words(take.scene), same_number(take.take), take.start


def _named(take: Take) -> str:
    """The take in words."""
    words = [f"scene {brief(take.scene)}"] * bool(take.scene)
    words += [f"take {brief(take.take)}"] * bool(take.take)
    return ", ".join(words) or "a take"


def _set(
    recorder: Recorder, take: Take, view: DayStanding, whole: set[Hashable]
) -> Iterator[Finding]:
    lacks = _lacks(take, view)
    if lacks and _key(take) in whole:
        says = f"{_named(take)} is incomplete here ({lacks}) and whole on the backup card"
        do = "Hand the backup card's files over with it."
        yield recorder.noticed(take, "set-incomplete", LOOK, says, do)
    elif lacks:
        says = f"{_named(take)} is incomplete: {lacks}"
        do = "Look for the rest on both cards, in the recorder. Keep the cards as they are."
        yield recorder.noticed(take, "set-incomplete", HOLD, says, do)
    for part in take.parts:
        files = [recorder.recording(number) for number in part.files]
        lengths = {file.description.frames for file in files}
        formats = {
            (f.description.format.sample_rate, f.description.format.bits)
            for f in files
            if f.description.format
        }
        if len(lengths) > 1 or len(formats) > 1:
            what = "format" if len(formats) > 1 else "length"
            says = f"the files of {_named(take)} are not of one {what}"
            yield recorder.noticed(take, "set-uneven", LOOK, says, "Listen to their ends.")
            return


def _lacks(take: Take, view: DayStanding) -> str:
    """What a set lacks by its own account, "" for nothing.

    A number that comes back with each part counts the files of a part; else all are counted on.
    """
    expected = take.expected or 0
    if take.rerecorded or expected < 2:
        return ""
    indexes = [[_index(view, n) for n in part.files] for part in take.parts]
    flat = [index for part in indexes for index in part]
    counted_on = len(set(flat)) == len(flat)
    least = min([flat] if counted_on else indexes, key=len)
    if len(least) >= expected:
        return ""
    says = f"{len(least)} of {expected} files are there"
    if expected <= NAMED and all(i.isdecimal() and 0 < int(i) <= expected for i in least):
        there = {int(index) for index in least}
        says += f", not {', '.join(str(n) for n in range(1, expected + 1) if n not in there)}"
    return says


def _index(view: DayStanding, number: int) -> str:
    standing = view.index[number]
    return standing.recording.description.metadata.set_index.lstrip("0") or f"#{number}"


def _parts(recorder: Recorder, take: Take) -> Iterator[Finding]:
    """Gaps between the parts of a split take; one finding names the first and counts the others."""
    gaps = [(before, after, _gap(take, before, after)) for before, after in pairwise(take.parts)]
    odd = [(before, after, gap) for before, after, gap in gaps if gap]
    if not odd or not take.sample_rate:
        return
    before, after, gap = max(odd, key=lambda one: abs(one[2]))
    names = f"{recorder.name_of(before.files[0])} and {recorder.name_of(after.files[0])}"
    seconds = abs(gap) / take.sample_rate
    more = f" ({len(odd)} gaps in all)" if len(odd) > 1 else ""
    if gap < 0:
        says = f"its parts {names} overlap by {-gap} samples ({seconds:.3f} s){more}"
    else:
        says = f"{gap} samples ({seconds:.3f} s) are missing between {names}{more}"
    if seconds > LOST and gap > 0:
        do = "Look for the missing part on both cards. Keep the cards as they are."
        yield recorder.noticed(take, "part-missing", HOLD, says, do)
    else:
        do = "Listen to it where one file ends and the next begins."
        yield recorder.noticed(take, "part-gap", LOOK, says, do)


def _gap(take: Take, before: Part, after: Part) -> int:
    """Samples between two parts, negative where they overlap; 0 where it is not known."""
    if before.start is None or before.frames is None or after.start is None:
        return 0
    day = day_samples(take.sample_rate, take.rate) or 1
    gap = (after.start - before.start - before.frames) % day
    return gap if gap <= day // 2 else gap - day


def _overlaps(recorder: Recorder) -> Iterator[Finding]:
    """One recorder is at one place of its timecode at a time, unless that was set anew."""
    last: Take | None = None
    reached = 0.0
    untold = _begin_alike(recorder)
    for take in recorder.takes:
        begins = recorder.begins(take)
        if begins is None or take.start == untold:
            continue
        shared = min(reached - begins, length(take))
        if last is not None and shared > SHARED and not recorder.same(last, take):
            says = f"its timecode overlaps that of {recorder.name(last)} by {shared:.1f} s"
            do = "The timecode was set back between them: tell post, and see which one is right."
            yield recorder.noticed(take, "timecode-overlap", LOOK, says + _from(take), do, last)
        if last is None or begins + length(take) > reached:
            last, reached = take, begins + length(take)


def _begin_alike(recorder: Recorder) -> int | None:
    """The TimeReference of most takes, which so tells no time; None where they differ.

    There was no timecode, or each file began it anew.
    """
    starts = Counter(take.start for take in recorder.takes if take.start is not None)
    start, count = next(iter(starts.most_common(1)), (0, 0))
    alike = count > 1 and 2 * count > starts.total() and (start == 0 or count >= FEWEST)
    return start if alike else None


def _from(take: Take) -> str:
    if take.start is None or take.rate is None or not take.sample_rate:
        return ""
    return f", from {label(take.start, take.sample_rate, take.rate)} on"


def _twice(recorder: Recorder) -> Iterator[Finding]:
    met: dict[Hashable, list[Take]] = defaultdict(list)
    for take in recorder.takes:
        if not (take.scene and take.take) or not SPOILED.isdisjoint(take.types):
            continue
        if all(recorder.index[number].deleted for number in take.files):
            continue
        apart = (UNCOUNTED | {PICKUP}).intersection(take.types)
        others = met[(same_words(take.scene), same_number(take.take), apart)]
        if others and not any(recorder.same(other, take) for other in others):
            says = f"{_named(take)} is there already: {recorder.name(others[0])}"
            do = "See which one is wrong, and correct it in the recorder or tell post."
            yield recorder.noticed(take, "take-twice", LOOK, says, do, others[0])
        others.append(take)


def _counted_on(recorder: Recorder) -> list[int]:
    """The takes' numbers where they go on from scene to scene; none where each scene begins anew.

    Then no change of the scene begins at a lower one, and most of several at the next.
    """
    counted = [(t, _COUNTED.fullmatch(t.take.strip())) for t in recorder.takes if t.scene]
    plain = [(same_words(t.scene), int(n[2])) for t, n in counted if n and not n[1]]
    changes = [now - was for (old, was), (new, now) in pairwise(plain) if old != new]
    goes_on = len(changes) > 1 and min(changes) > 0 and 2 * changes.count(1) > len(changes)
    return [number for _, number in plain] if goes_on else []


def _left_out(recorder: Recorder, count: list[int]) -> Iterator[Finding]:
    """Numbers that such a count leaves out; what the backup cards have is not missing here."""
    beside = (_FURTHER.match(take.take.strip()) for take in (*recorder.takes, *recorder.beside))
    there = {int(found[1]) for found in beside if found}
    missing = [number for number in _missing(sorted(set(count))) if number not in there]
    if missing:
        word = ", ".join(map(str, missing))
        takes = "take" if len(missing) == 1 else "takes"
        says = f"{recorder.title} has no {takes} {word}; they are counted on from scene to scene."
        yield finding("take-numbers", LOOK, recorder.title, says, MISCOUNTED, covers=word)


def _numbers(
    recorder: Recorder, view: DayStanding, ledger: Ledger, told: set[Hashable]
) -> Iterator[Finding]:
    """Take numbers that a scene leaves out; what the backup cards have is not missing here.

    What no primary source has is said of the first of them; `told` remembers of which scenes.
    """
    scenes: dict[tuple[str, str], dict[int, str]] = defaultdict(dict)
    given: dict[tuple[str, str], set[int]] = defaultdict(set)
    for take in (*recorder.takes, *recorder.beside):
        found = _COUNTED.fullmatch(take.take.strip())
        if not found or not take.scene:
            if further := _FURTHER.fullmatch(take.take.strip()):
                given[same_words(take.scene), ""].add(int(further[1]))
            continue
        series, number = (same_words(take.scene), found[1].casefold()), int(found[2])
        given[series].add(number)
        # Such a take may have a number of the others, or one of its own that tells nothing of them.
        if found[1] or UNCOUNTED.isdisjoint(take.types):
            scenes[series].setdefault(number, brief(take.scene))
    mine = {same_words(take.scene) for take in recorder.takes}
    for (scene, letters), numbers in sorted(scenes.items()):
        missing = _missing(sorted(numbers))
        first = min(numbers)
        if 1 < first <= FAR and not _begun_before(scene, view, ledger):
            missing = [*range(1, first), *missing]
        missing = [number for number in missing if number not in given[scene, letters]]
        said = (recorder.primary, scene, letters)
        if scene in mine and missing and said not in told:
            told.add(said)
            word = ", ".join(f"{letters.upper()}{number}" for number in missing)
            takes = "take" if len(missing) == 1 else "takes"
            name = f"{recorder.title}: scene {numbers[first]}"
            says = f"{name} has no {takes} {word}."
            subject = f"{name} {letters}".strip()
            yield finding("take-numbers", LOOK, subject, says, MISCOUNTED, covers=word)


def _missing(numbers: list[int]) -> list[int]:
    """Numbers between those that are there; a far jump begins another count."""
    return [
        number
        for low, high in pairwise(numbers)
        if high - low <= FAR
        for number in range(low + 1, high)
    ]


def _begun_before(scene: str, view: DayStanding, ledger: Ledger) -> bool:
    """Whether an earlier day has takes of that scene."""
    earlier = (day for day, numbers in ledger.of_day.items() if numbers and day < view.day)
    return any(scene in _scenes(ledger, ledger.news[day], day) for day in earlier)


@lru_cache(maxsize=16_384)  # asked for of all days, and they may sleep
def _scenes(ledger: Ledger, _news: int, day: str) -> frozenset[str]:
    return frozenset(same_words(scene_and_take(r)[0]) for r in ledger.day(day))
