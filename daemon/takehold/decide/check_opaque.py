"""Primary cards whose files are containers that takehold cannot look into.

Their audio cannot be compared with the backup's. What was shown instead is said once for a card:
its bytes are copied and proven, and the backup card's takes were checked among themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding, container
from takehold.formats.names import shown
from takehold.model.finding import Finding, Severity
from takehold.model.settings import Role
from takehold.model.take import Take


def opaque_findings(view: DayStanding, backups: Iterable[Take]) -> Iterator[Finding]:
    """What was and was not shown of each primary card; `backups` are the takes beside it."""
    if not view.opaque:
        return
    takes = list(backups)
    checked = "1 take" if len(takes) == 1 else f"{len(takes)} takes"
    for load in view.loads:
        files = [
            s.recording
            for s in view.files
            if s.current and s.load.id == load.id and container(s.recording)
        ]
        if load.role is not Role.PRIMARY or not files:
            continue
        name = shown(load.label)
        count = "1 file" if len(files) == 1 else f"{len(files)} files"
        says = (
            f"{name}: its {count} cannot be looked into. They are copied and proven as bytes; that "
            "the backup holds the same audio was not shown. The backup's takes were checked among "
            f"themselves ({checked}); what they lack is said with each."
        )
        do = "Compare the number of takes with the recorder's list or the paperwork, and decide."
        yield finding(
            "primary-not-comparable",
            Severity.LOOK,
            name,
            says,
            do,
            load=load.id,
            covers=these(files),
        )
