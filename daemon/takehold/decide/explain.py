"""A step in words."""

from __future__ import annotations

from takehold.formats.names import display, shown
from takehold.model.step import (
    CatchUp,
    Confirm,
    Prove,
    Publish,
    Step,
    TakeStock,
    Transfer,
)


def what(step: Step) -> str:
    """What a step does, for a person."""
    match step:
        case TakeStock(load=load):
            return f"listing {shown(load.label)}"
        case Transfer(root=root, owed=owed):
            names = sorted({shown(t.name) for o in owed for t in o.targets})
            return f"copying {len(owed)} files from {display(root.path)} to {', '.join(names)}"
        case Confirm(root=root, recordings=recordings):
            return f"reading {len(recordings)} files of {display(root.path)} a second time"
        case CatchUp(target=target, pairs=pairs):
            return f"copying {len(pairs)} files to {shown(target.name)} from another drive"
        case Prove(target=target, pairs=proofs):
            return f"reading {len(proofs)} copies on {shown(target.name)} again"
        case Publish(target=target, day=day, number=number):
            return f"putting {day} r{number} on {shown(target.name)}"
