"""Takes of which only a mix is there, or an MP3, though others have their tracks beside it.

A recorder that writes a mix beside the tracks does so in a folder or under a name that says `mix`
(`MIX/1T01.WAV`, `1T01_MIX.WAV`), and an MP3 tells itself. Where one lies alone, the file that it
was written beside was deleted or lost: the take's number is there, and its tracks are not.
(Common practice, no source.)
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterator

from takehold.decide.day import DATED
from takehold.decide.recorder import Recorder
from takehold.decide.take_names import same_number, says_mix, set_name, without_word
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.slate import same_words, stem
from takehold.model.sound import Kind
from takehold.model.take import Take

MIX = "only its mix is here, and other takes have their tracks beside it"
LOSSY = "only a compressed file of it is here, and other takes have an uncompressed one beside it"
# So many others have their tracks beside them: that is what the recorder does. Chosen, no source.
FEWEST = 2
DO = "Look for the rest on both cards, in the recorder. Keep the cards as they are."


def mix_findings(recorder: Recorder) -> Iterator[Finding]:
    """Once for all of a card; a card that holds mixes of most takes alone is meant to."""
    takes = [one for rolled in recorder.takes for one in (rolled, *rolled.again)]
    is_less = {take.first: _less(recorder, take) for take in takes}
    if not any(is_less.values()):
        return
    keys: dict[str, set[Hashable]] = {"": set(), MIX: set()}
    for take in takes:
        for kind in {_kind(file) for file in recorder.recordings(take)} & keys.keys():
            keys[kind] |= _keys(recorder, take)
    beside = {LOSSY: keys[""] | keys[MIX], MIX: keys[""]}
    odd: list[tuple[Take, str]] = []
    whole: Counter[str] = Counter()
    for take in recorder.takes:
        less = is_less[take.first]
        if less and not beside[less].isdisjoint(_keys(recorder, take)):
            whole[less] += 1
        elif less and not _may_be_of_another_day(recorder, take):
            odd.append((take, less))
    alone = Counter(less for _, less in odd)
    told = ((take, less) for take, less in odd if whole[less] >= max(FEWEST, alone[less]))
    for alike, says in recorder.alike(told):
        yield recorder.noticed_of(alike, "set-incomplete", Severity.LOOK, says, DO)


def _may_be_of_another_day(recorder: Recorder, take: Take) -> bool:
    """As an MP3, which names no date: then what it lies beside may be told there."""
    said = recorder.recording(take.first).description
    return any(complaint.code in DATED for complaint in said.complaints)


def _less(recorder: Recorder, take: Take) -> str:
    """What there is of a take in place of its tracks, "" where these are there."""
    kinds = {_kind(file) for file in recorder.recordings(take)}
    return "" if "" in kinds else MIX if MIX in kinds else LOSSY


def _kind(file: Recording) -> str:
    if file.description.kind is Kind.COMPRESSED:
        return LOSSY
    return MIX if says_mix(file.path) else ""


def _keys(recorder: Recorder, take: Take) -> set[Hashable]:
    """What it has in common with files beside it: scene and take, or a name."""
    names = [stem(file.path) for file in recorder.recordings(take)]
    common = {*names, *map(without_word, names), set_name(names)} - {""}
    slate = (same_words(take.scene), same_number(take.take))
    return {*map(same_words, common), *([slate] if all(slate) else [])}
