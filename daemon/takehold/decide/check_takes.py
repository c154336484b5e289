"""The checks of a day's takes: what their metadata tell, with no look at the audio.

Every code is explained in docs/problems.md.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import chain, pairwise

from takehold.decide.beside_better import without_copies
from takehold.decide.check_changes import change_findings
from takehold.decide.check_opaque import opaque_findings
from takehold.decide.file_set import lacks
from takehold.decide.mix_only import mix_findings
from takehold.decide.noticed import finding
from takehold.decide.recorder import UNCOUNTED, Recorder, by_source, length, recorders
from takehold.decide.standing import DayStanding
from takehold.decide.take_names import same_number
from takehold.decide.whole_beside import is_unbroken, whole_beside
from takehold.formats.names import brief, shown
from takehold.formats.timecode import day_samples, label
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.settings import Role, Settings
from takehold.model.slate import same_words
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
# Their number is given again, to the take made in their stead. (Common practice, no source.)
SPOILED = frozenset({"FALSE_START", "NO_GOOD"})
# So in a note: the words of the first, or nothing but either.
_SPOILED = re.compile(
    r"(?:.*\b)?false[-_ ]?start\b.*|\s*(?:f[./]?s|n[./]?g|no[-_ ]?good)\W*",
    re.DOTALL | re.IGNORECASE,
)
# It may keep the number of the take that it picks up. (Common practice, no source.)
PICKUP = "PICKUP"
MISCOUNTED = "Look in the recorder and the paperwork: was it recorded, deleted or miscounted?"
_COUNTED = re.compile(r"#?([^\W\d_]*)0*([0-9]{1,6})")
# A pick-up ("3PU") or a lettered take ("3A") has its number from the others.
_FURTHER = re.compile(r"0*([0-9]{1,6})(?:\D.*)?")
# Takes that were rolled without a cut are one file with all their numbers: `2+3`, `2-4`, `2/3`.
# (Common practice, no source.)
# No blank may be read in two ways: of a text that is none, all ways would be tried.
_SERIES = re.compile(r"[0-9]{1,6}(?:(?:\s*+[-+&/,]\s*+|\s++)[0-9]{1,6})+")
_MARK = re.compile(r"\s*([-+&/,\s])\s*")


def take_findings(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Everything to say of a day's takes."""
    made = recorders(view, settings)
    yield from opaque_findings(view, (take for recorder in made for take in recorder.takes))
    alike: dict[Hashable, list[Take]] = defaultdict(list)
    beside_all = (recorder.beside for recorder in made[:1])  # the same takes are beside each
    for take in chain.from_iterable(chain((recorder.takes for recorder in made), beside_all)):
        alike[_slate(take)].append(take)
    for recorder in made:
        beside = {number: take for take in recorder.beside for number in take.files}
        for take in chain.from_iterable((take, *take.again) for take in recorder.takes):
            lacking = lacks(take, recorder.recording)
            asked = lacking or any(_is_lost(take, gap) for *_, gap in _gaps(take))
            other = whole_beside(take, view, beside, alike[_slate(take)]) if asked else None
            yield from _set(recorder, take, lacking, other)
            yield from _parts(recorder, take, other)
        yield from _overlaps(recorder)
        yield from _twice(recorder)
        yield from mix_findings(recorder)
        yield from change_findings(recorder, settings)
    told: set[Hashable] = set()
    for recorder in map(_without_copies, by_source(made)):
        counts = _counted_on(recorder)
        yield from _left_out(recorder, counts)
        if "" not in counts:
            yield from _numbers(recorder, view, ledger, told, counts)


def _without_copies(recorder: Recorder) -> Recorder:
    """An MP3 of a take has its number, whatever its name tells."""
    sides = (recorder.takes, recorder.beside)
    takes, beside = (without_copies(one, recorder.recordings) for one in sides)
    return replace(recorder, takes=takes, beside=beside)


def _named(take: Take) -> str:
    """The take in words."""
    words = [f"scene {brief(take.scene)}"] * bool(take.scene)
    words += [f"take {brief(take.take)}"] * bool(take.take)
    return ", ".join(words) or "a take"


def _slate(take: Take) -> Hashable:
    """What a recorder's take and its mirror on another card have in common."""
    return take.originator, take.tape, same_words(take.scene), same_number(take.take)


def _card(recorder: Recorder, take: Take) -> str:
    """The card, or cards, that another take lies on, as a person knows them."""
    loads = {load.id: load for load in (recorder.index[number].load for number in take.files)}
    backup = "backup " * all(load.role is Role.BACKUP for load in loads.values())
    labels = sorted(shown(load.label) for load in loads.values())
    return f"the {backup}card{'s' * (len(labels) > 1)} {' and '.join(labels)}"


def _set(recorder: Recorder, take: Take, lacking: str, other: Take | None) -> Iterator[Finding]:
    """What its set lacks, or that its files differ; `other` is whole on another card."""
    if lacking and other is not None:
        card = _card(recorder, other)
        says = f"{_named(take)} is incomplete here ({lacking}) and whole on {card}"
        do = f"Hand the files of {card} over with it."
        yield recorder.noticed(take, "set-incomplete", LOOK, says, do)
    elif lacking:
        says = f"{_named(take)} is incomplete: {lacking}"
        do = "Look for the rest on both cards, in the recorder. Keep the cards as they are."
        # What was recorded again may tell how many files the original has.
        severity = LOOK if take.rerecorded else HOLD
        yield recorder.noticed(take, "set-incomplete", severity, says, do)
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


def _parts(recorder: Recorder, take: Take, other: Take | None) -> Iterator[Finding]:
    """Gaps between the parts of a split take; one finding names the first and counts the others.

    `other` is whole on another card.
    """
    odd = [(before, after, gap) for before, after, gap in _gaps(take) if gap]
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
    if _is_lost(take, gap) and other is not None and is_unbroken(other):
        card = _card(recorder, other)
        says += f"; they are on {card}"
        do = f"Hand the files of {card} over with it."
        yield recorder.noticed(take, "part-missing", LOOK, says, do)
    elif _is_lost(take, gap):
        do = "Look for the missing part on both cards. Keep the cards as they are."
        yield recorder.noticed(take, "part-missing", HOLD, says, do)
    else:
        do = "Listen to it where one file ends and the next begins."
        yield recorder.noticed(take, "part-gap", LOOK, says, do)


def _gaps(take: Take) -> list[tuple[Part, Part, int]]:
    return [(before, after, _gap(take, before, after)) for before, after in pairwise(take.parts)]


def _is_lost(take: Take, gap: int) -> bool:
    """Whether so many samples are a part that is missing."""
    return take.sample_rate > 0 and gap > LOST * take.sample_rate


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
        if not (take.scene and take.take) or _is_spoiled(take):
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


def _is_spoiled(take: Take) -> bool:
    return not SPOILED.isdisjoint(take.types) or _SPOILED.fullmatch(take.note) is not None


def _counted(takes: Iterable[Take]) -> dict[str, list[tuple[str, int]]]:
    """Scenes and numbers of takes, by the letters before the numbers: `WT3` is of the series WT."""
    series: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for take in takes:
        if take.scene and (found := _COUNTED.fullmatch(take.take.strip())):
            series[found[1].casefold()].append((same_words(take.scene), int(found[2])))
    return series


def _counted_on(recorder: Recorder) -> dict[str, set[int]]:
    """The numbers of each series that goes on from scene to scene, where no scene begins it anew.

    Then no change of the scene begins at a lower one, and most of several at the next. Of a series
    beside the plain numbers, as of wild tracks, one change is enough: few of them are recorded.
    """
    found = {}
    series = _counted(recorder.takes)
    for letters, its in series.items():
        changes = [now - was for (old, was), (new, now) in pairwise(its) if old != new]
        least = 1 if letters and "" in series else 2
        if len(changes) >= least and min(changes) > 0 and 2 * changes.count(1) > len(changes):
            found[letters] = {number for _, number in its}
    return found


def _left_out(recorder: Recorder, counts: Mapping[str, set[int]]) -> Iterator[Finding]:
    """Numbers that such a count leaves out; what the backup cards have is not missing here."""
    beside, title = _counted(recorder.beside), recorder.title
    further = _further(take.take.strip() for take in (*recorder.takes, *recorder.beside))
    for letters, numbers in sorted(counts.items()):
        there = {number for _, number in beside.get(letters, ())} if letters else further
        missing = [number for number in _missing(sorted(numbers)) if number not in there]
        if missing:
            word = _listed(letters, missing)
            says = (
                f"{title} has no {_takes(missing)} {word}; they are counted on from scene to scene."
            )
            subject = f"{title} {letters}".strip()
            yield finding("take-numbers", LOOK, subject, says, MISCOUNTED, covers=word)


def _listed(letters: str, numbers: list[int]) -> str:
    return ", ".join(f"{letters.upper()}{number}" for number in numbers)


def _takes(numbers: list[int]) -> str:
    return "take" if len(numbers) == 1 else "takes"


def _numbers(
    recorder: Recorder,
    view: DayStanding,
    ledger: Ledger,
    told: set[Hashable],
    counts: Mapping[str, set[int]],
) -> Iterator[Finding]:
    """Take numbers that a scene leaves out; what the backup cards have is not missing here.

    What no primary source has is said of the first of them; `told` remembers of which scenes. The
    series of `counts` go on from scene to scene.
    """
    scenes: dict[tuple[str, str], dict[int, str]] = defaultdict(dict)
    given: dict[tuple[str, str], set[int]] = defaultdict(set)
    names: dict[str, list[str]] = defaultdict(list)
    for take in (*recorder.takes, *recorder.beside):
        names[same_words(take.scene)].append(take.take.strip())
        found = _COUNTED.fullmatch(take.take.strip())
        if not found or not take.scene:
            continue
        series, number = (same_words(take.scene), found[1].casefold()), int(found[2])
        given[series].add(number)
        # Such a take may have a number of the others, or one of its own that tells nothing of them.
        if found[1] or UNCOUNTED.isdisjoint(take.types):
            scenes[series].setdefault(number, brief(take.scene))
    for scene, its in names.items():
        given[scene, ""] |= _further(its)
    mine, primary = {same_words(take.scene) for take in recorder.takes}, recorder.primary
    for (scene, letters), numbers in sorted(scenes.items()):
        missing = _missing(sorted(numbers))
        first = min(numbers)
        if 1 < first <= FAR and scene not in _scenes_before(ledger, ledger.serial, view.day):
            missing = [*range(1, first), *missing]
        missing = [number for number in missing if number not in given[scene, letters]]
        said = (primary, scene, letters)
        if scene in mine and missing and said not in told and letters not in counts:
            told.add(said)
            word = _listed(letters, missing)
            name = f"{recorder.title}: scene {numbers[first]}"
            says = f"{name} has no {_takes(missing)} {word}."
            subject = f"{name} {letters}".strip()
            yield finding("take-numbers", LOOK, subject, says, MISCOUNTED, covers=word)


def _further(names: Iterable[str]) -> set[int]:
    """The numbers that takes of these names have, those of a series of takes in one file too.

    Not where another name begins with the same number: then `2-3` may be the third part of two.
    """
    begun: dict[int, set[str]] = defaultdict(set)
    for name in names:
        if found := _FURTHER.fullmatch(name):
            begun[int(found[1])].add(name)
    alone = (name for its in begun.values() if len(its) == 1 for name in its)
    return set(begun).union(*map(_of_series, alone))


def _of_series(name: str) -> set[int]:
    """Numbers that go up, and are joined by marks; behind `-` all that lie between them."""
    if not _SERIES.fullmatch(name):
        return set()
    first, *rest = _MARK.split(name)
    numbers, marks = [int(first), *map(int, rest[1::2])], rest[::2]
    there = set(numbers)
    for (low, high), mark in zip(pairwise(numbers), marks, strict=True):
        if high <= low:
            return set()
        if mark == "-" and high - low <= FAR:
            there.update(range(low, high))
    return there


def _missing(numbers: list[int]) -> list[int]:
    """Numbers between those that are there; a far jump begins another count."""
    return [
        number
        for low, high in pairwise(numbers)
        if high - low <= FAR
        for number in range(low + 1, high)
    ]


@lru_cache(maxsize=1)  # a day is asked for scene by scene
def _scenes_before(ledger: Ledger, _serial: int, day: str) -> frozenset[str]:
    """The scenes that earlier days have takes of."""
    return frozenset().union(*(ledger.scenes(before) for before in ledger.of_day if before < day))
