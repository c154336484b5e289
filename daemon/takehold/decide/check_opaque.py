"""Primary cards whose files are containers that takehold cannot look into.

Their audio cannot be compared with the backup's. What was shown instead is said once for a card:
its bytes are copied and proven, and those takes of the backup cards that answer no card that can
be looked into were checked among themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from takehold.decide.noticed import finding, many_files, these
from takehold.decide.standing import DayStanding, container
from takehold.formats.names import shown
from takehold.model.finding import Finding, Severity
from takehold.model.settings import Role
from takehold.model.sound import Kind
from takehold.model.take import Take


def opaque_findings(view: DayStanding, found: Iterable[Take]) -> Iterator[Finding]:
    """What was and was not shown of each such card; `found` are the takes that were checked."""
    count = sum(not view.beside_opaque.isdisjoint(take.files) for take in found)
    checked = "1 take" if count == 1 else f"{count} takes"
    for load in view.loads:
        if load.id not in view.opaque:
            continue
        files = [
            s.recording
            for s in view.files
            if s.current and s.load.id == load.id and container(s.recording)
        ]
        name = shown(load.label)
        boxes = many_files(len(files))
        says = (
            f"{name}: its {boxes} cannot be looked into. They are copied and proven as bytes; that "
            f"the backup holds the same audio was not shown. The backup's takes {_which(view)}were "
            f"checked among themselves ({checked}); what they lack is said with each."
        )
        do = "Compare the number of takes with the recorder's list or the paperwork, and decide."
        beside = (view.index[number].recording for number in view.beside_opaque)
        about = these([*files, *beside])  # one take more to compare, and it is asked for anew
        yield finding(
            "primary-not-comparable", Severity.LOOK, name, says, do, load=load.id, covers=about
        )


def _which(view: DayStanding) -> str:
    """Which takes, where other primary cards can be looked into."""
    readable = (s for s in view.files if s.recording.description.kind is not Kind.OTHER)
    others = any(s.load.role is Role.PRIMARY for s in readable)
    return "that answer no other card " if others else ""
