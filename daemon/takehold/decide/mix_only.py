"""Takes of which only a mix is there, or an MP3, though others have their tracks beside it.

A recorder that writes a mix beside the tracks does so in another folder, or with a word behind the
name (`MIX/1T01.WAV`, `1T01_MIX.WAV`), and an MP3 tells itself. Where one lies alone, the file that
it was written beside was deleted or lost: the take's number is there, and its tracks are not.
(Common practice, no source.)
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterator
from typing import NamedTuple

from takehold.decide.day import DATED
from takehold.decide.recorder import Recorder
from takehold.decide.take_names import same_number, set_name, without_word
from takehold.model.finding import Finding, Severity
from takehold.model.slate import same_words, stem
from takehold.model.sound import Kind
from takehold.model.take import Take

MIX = "only its mix is here, and other takes have their tracks beside it"
LOSSY = "only a compressed file of it is here, and other takes have an uncompressed one beside it"
DO = "Look for the rest on both cards, in the recorder. Keep the cards as they are."


class _Place(NamedTuple):
    """Whether a file is compressed, and the word behind its name, else its folder."""

    lossy: bool
    word: str


def mix_findings(recorder: Recorder) -> Iterator[Finding]:
    """Once for all of a card."""
    # Of what is not compressed: how many channels lie at which place, by each key.
    whole: dict[Hashable, dict[_Place, int]] = defaultdict(dict)
    for take in (one for rolled in recorder.takes for one in (rolled, *rolled.again)):
        place = _place(recorder, take)
        for key in () if place.lossy else _keys(recorder, take):
            whole[key][place] = max(take.channels, whole[key].get(place, 0))
    told = []
    less: Counter[_Place] = Counter()
    for take in recorder.takes:
        place = _place(recorder, take)
        beside: dict[_Place, int] = {}
        for key in _keys(recorder, take):
            beside |= whole.get(key, {})
        beside.pop(place, None)
        told.append((take, place, beside))
        for channels in beside.values():
            fewer = place.lossy or take.channels < channels
            less[place] += fewer - (not fewer and take.channels > channels)
    # Mixes lie where most have fewer channels than what lies beside them.
    mixes = {place for place, balance in less.items() if balance > 0}
    odd = (
        (take, LOSSY if place.lossy else MIX)
        for take, place, beside in told
        if place in mixes and not (beside if place.lossy else beside.keys() - mixes)
        if not _may_be_of_another_day(recorder, take)
    )
    for alike, says in recorder.alike(odd):
        yield recorder.noticed_of(alike, "set-incomplete", Severity.LOOK, says, DO)


def _may_be_of_another_day(recorder: Recorder, take: Take) -> bool:
    """As an MP3, which names no date: then what it lies beside may be told there."""
    said = recorder.recording(take.first).description
    return any(complaint.code in DATED for complaint in said.complaints)


def _place(recorder: Recorder, take: Take) -> _Place:
    first = recorder.recording(take.first)
    name = stem(first.path)
    before = without_word(name)
    folder = first.path.rpartition(b"/")[0].rpartition(b"/")[2].decode("utf-8", "replace")
    word = name[len(before) :] if before else folder
    return _Place(first.description.kind is Kind.COMPRESSED, same_words(word))


def _keys(recorder: Recorder, take: Take) -> set[Hashable]:
    """What it has in common with files beside it: scene and take, or a name."""
    names = [stem(file.path) for file in recorder.recordings(take)]
    common = {*names, *map(without_word, names), set_name(names)} - {""}
    slate = (same_words(take.scene), same_number(take.take))
    return {*map(same_words, common), *([slate] if all(slate) else [])}
