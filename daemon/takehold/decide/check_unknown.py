"""Files of a kind that takehold does not know, which the backup card does not have as they are.

They may hold audio, or be what a recorder keeps for itself beside each take: told once for a card.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from takehold.decide.litter import holds_audio, is_document
from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.settings import Role
from takehold.model.sound import Kind

NAMED = 3
HAVE = {Relation.MISSING: "no such file", Relation.DIFFERENT: "other bytes"}


def unknown_findings(view: DayStanding) -> Iterator[Finding]:
    """One for each primary card that has some, and for what its backup has in their stead."""
    found: dict[tuple[int, Relation], list[Standing]] = defaultdict(list)
    for standing in view.files:
        answer = standing.answer
        if answer is not None and answer.relation in HAVE and _may_hold_audio(standing, view):
            found[standing.load.id, answer.relation].append(standing)
    for (load, relation), files in found.items():
        card, have = shown(files[0].load.label), HAVE[relation]
        names = ", ".join(display(s.recording.path) for s in files[:NAMED])
        if len(files) == 1:
            says = (
                f"{card}/{names}: it may hold audio, and the backup card has {have} of that name."
            )
        else:
            names += f" and {len(files) - NAMED} more" if len(files) > NAMED else ""
            says = f"{card}: {len(files)} files may hold audio, and the backup card has {have} of "
            says += f"their names: {names}."
        others = (view.of(number) for s in files if s.answer for number in s.answer.others)
        about = these([*(s.recording for s in files), *(s.recording for s in others if s)])
        do = "Look at the backup card."
        yield finding("backup-unknown", Severity.LOOK, card, says, do, load=load, covers=about)


def _may_hold_audio(standing: Standing, view: DayStanding) -> bool:
    """No text, though it may have listed files before, and nothing that is told otherwise."""
    said, path = standing.recording.description, standing.recording.path
    unknown = said.kind is Kind.OTHER and not (said.listed or said.besides)
    unknown = unknown and not holds_audio(path) and not is_document(path)
    of_primary = standing.load.role is Role.PRIMARY and standing.load.id not in view.opaque
    return standing.current and of_primary and unknown
