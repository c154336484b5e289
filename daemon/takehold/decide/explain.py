"""A step in words."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from collections.abc import Sized

from takehold.decide.noticed import many_files
from takehold.formats.names import display, shown
from takehold.model.step import (
    AtCard,
    CatchUp,
    Compare,
    Confirm,
    Measure,
    Owed,
    Prove,
    Publish,
    Recognise,
    Salvage,
    Step,
    TakeStock,
    Transfer,
)
from takehold.model.volume import Root


def what(step: Step, behind: AbstractSet[str] = frozenset()) -> str:
    """What a step does, for a person; `behind` are the roots that it goes on without."""
    match step:
        case Recognise() | TakeStock() | Transfer() | Confirm() | Salvage():
            return _at_a_card(step, behind)
        case CatchUp(target=target, pairs=pairs):
            return f"copying {_files(pairs)} to {shown(target.name)} from another drive"
        case Prove(target=target, pairs=proofs):
            copies = "1 copy" if len(proofs) == 1 else f"{len(proofs)} copies"
            return f"reading {copies} on {shown(target.name)} again"
        case Measure(target=target):
            return f"measuring the audio of 1 file on {shown(target.name)}"
        case Compare():
            return f"comparing the audio of {_compared(step)}"
        case Publish(target=target, day=day, number=number):
            return f"putting {day} r{number} on {shown(target.name)}"


def _at_a_card(step: AtCard, behind: AbstractSet[str]) -> str:
    match step:
        case Recognise(load=load):
            return f"looking whether {shown(load.label)} holds what is known of it"
        case TakeStock(load=load):
            return f"listing {shown(load.label)}"
        case Transfer(root=root, owed=owed):
            return f"copying {_files(owed)} from {_place(root)} to {_drives(owed, behind)}"
        case Confirm(root=root, recordings=recordings):
            return f"reading {_files(recordings)} of {_place(root)} a second time"
        case Salvage(root=root):
            return f"saving what can be read of 1 file of {_place(root)}"


def _drives(owed: tuple[Owed, ...], behind: AbstractSet[str]) -> str:
    """Those that take files now, and those that get them later, from one of these."""
    targets = {t.root.identity: shown(t.name) for o in owed for t in o.targets}
    later = sorted(name for root, name in targets.items() if root in behind)
    now = sorted(name for root, name in targets.items() if root not in behind)
    if not (now and later):
        return ", ".join(now or later)
    return f"{', '.join(now)} (later to {', '.join(later)})"


def _compared(step: Compare) -> str:
    if step.then:
        return _files(step.pairs)
    return f"{_files(step.ours)} with {_files(step.theirs)} of the backup"


def _files(of: Sized) -> str:
    return many_files(len(of))


def _place(root: Root) -> str:
    """A card by its label, a watch folder by its path."""
    is_card = root.volume.label and root.path == root.volume.mount
    return shown(root.volume.label) if is_card else display(root.path)
