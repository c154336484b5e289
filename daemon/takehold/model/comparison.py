"""What the samples of two recordings of one sound said, where their digests did not decide."""

from __future__ import annotations

from dataclasses import dataclass

from takehold.model.finding import Relation

# Numbers of the recordings of one side: part after part, the files of a part by their channels.
Side = tuple[int, ...]
# A channel, from 1, and its frames from a first one to an end, which is not included.
Stretch = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Comparison:
    """How `theirs`, of a backup card, answers `ours`, of a primary one.

    `frame` counts from the first frame of ours to the first that differs or is missing. `frames`
    are those missing for `short`, further ones for `longer`. `channels` of ours, from 1, differ
    (`different`), lack those frames (`short`; all if empty) or have no counterpart (`reduced`);
    those that have none are `alone` where it is worse than `reduced`. `theirs_alone` are channels
    of theirs, from 1, that sound and hold nothing of ours. `missing` are the stretches of ours that
    theirs lacks, whatever else it says: channel, from 1, first frame and end (not included).
    `offset` is how many frames
    theirs lies later than ours; `residual_db` the level of ours less theirs, against that of ours;
    `correlation` is that of the aligned samples, of a lossy copy their agreement in phase
    (decide/phase), the worst of all channels; `duration_difference` how many frames theirs is
    longer in all, negative if shorter. None where a figure decided nothing, the last three also
    where what is there is the same, bit for bit.
    """

    ours: Side
    theirs: Side
    relation: Relation
    at: int
    frame: int | None = None
    frames: int | None = None
    channels: tuple[int, ...] = ()
    offset: int | None = None
    residual_db: float | None = None
    correlation: float | None = None
    alone: tuple[int, ...] = ()
    duration_difference: int | None = None
    theirs_alone: tuple[int, ...] = ()
    missing: tuple[Stretch, ...] = ()
