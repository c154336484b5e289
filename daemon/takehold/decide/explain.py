"""A step in words."""

from __future__ import annotations

from collections.abc import Sized

from takehold.formats.names import display, shown
from takehold.model.step import (
    AtCard,
    CatchUp,
    Compare,
    Confirm,
    Measure,
    Prove,
    Publish,
    Recognise,
    Salvage,
    Step,
    TakeStock,
    Transfer,
)
from takehold.model.volume import Root


def what(step: Step) -> str:
    """What a step does, for a person."""
    match step:
        case Recognise() | TakeStock() | Transfer() | Confirm() | Salvage():
            return _at_a_card(step)
        case CatchUp(target=target, pairs=pairs):
            return f"copying {_files(pairs)} to {shown(target.name)} from another drive"
        case Prove(target=target, pairs=proofs):
            copies = "1 copy" if len(proofs) == 1 else f"{len(proofs)} copies"
            return f"reading {copies} on {shown(target.name)} again"
        case Measure(target=target):
            return f"measuring the audio of 1 file on {shown(target.name)}"
        case Compare(ours=ours, theirs=theirs):
            return f"comparing the audio of {_files(ours)} with {_files(theirs)} of the backup"
        case Publish(target=target, day=day, number=number):
            return f"putting {day} r{number} on {shown(target.name)}"


def _at_a_card(step: AtCard) -> str:
    match step:
        case Recognise(load=load):
            return f"looking whether {shown(load.label)} holds what is known of it"
        case TakeStock(load=load):
            return f"listing {shown(load.label)}"
        case Transfer(root=root, owed=owed):
            names = sorted({shown(t.name) for o in owed for t in o.targets})
            return f"copying {_files(owed)} from {_place(root)} to {', '.join(names)}"
        case Confirm(root=root, recordings=recordings):
            return f"reading {_files(recordings)} of {_place(root)} a second time"
        case Salvage(root=root):
            return f"saving what can be read of 1 file of {_place(root)}"


def _files(of: Sized) -> str:
    return "1 file" if len(of) == 1 else f"{len(of)} files"


def _place(root: Root) -> str:
    """A card by its label, a watch folder by its path."""
    is_card = root.volume.label and root.path == root.volume.mount
    return shown(root.volume.label) if is_card else display(root.path)
