"""Which copies are to be read again because of their proof: too old, too weak, or asked for?"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from takehold.decide.backoff import due
from takehold.decide.durable import wants_read
from takehold.decide.keys import prove_key
from takehold.decide.schedule import overdue
from takehold.model.ledger import Ledger
from takehold.model.outline import Proofs
from takehold.model.recording import Copy
from takehold.model.settings import Settings
from takehold.model.situation import Target


def is_stale(
    ledger: Ledger, copy: Copy, target: Target, now: int, settings: Settings, asked_at: int | None
) -> bool:
    """Whether a copy on a drive is to be read again; `asked_at` is when a person wanted that."""
    failed = ledger.troubles.get(prove_key(copy))
    if failed is not None:  # what could not be read again is tried until it can
        return due(failed, now)
    weak = wants_read(copy.proof, target.root.volume)
    at = copy.proof.at
    return weak or _asked(asked_at, at, now) or overdue(at, now, settings)


def days_to_weigh(
    ledger: Ledger,
    target: Target,
    now: int,
    settings: Settings,
    asked_at: int | None,
    suspects: Collection[int] = (),
) -> list[str]:
    """Days with a copy on a drive that may be stale, or of a suspect; the oldest proof first.

    One that sleeps is not woken for the question; one that is awake is always among them.
    """
    root = target.root.identity
    failed = {int(key.split()[1]) for key in ledger.troubles if key.startswith("prove ")}
    again = {ledger.day_of(number) for number in failed.union(suspects)}
    found: list[tuple[int, str]] = []
    for day in ledger.of_day:
        outline = ledger.asleep.get(day)
        if outline is None:
            proven = [c.proof.at for c in _copies_on(ledger, day, root)]
            found += [(min(proven), day)] if proven else []
        elif (proofs := outline.proofs.get(root)) is not None and (
            day in again or _any_stale(proofs, target, now, settings, asked_at)
        ):
            found.append((proofs.oldest, day))
    return [day for _, day in sorted(found)]


def _copies_on(ledger: Ledger, day: str, root: str) -> Iterator[Copy]:
    for number in ledger.held_of(day, root):
        yield from (copy for copy in ledger.copies_of(number) if copy.root == root)


def _any_stale(
    proofs: Proofs, target: Target, now: int, settings: Settings, asked_at: int | None
) -> bool:
    ends = proofs.oldest, proofs.newest  # what is in between is neither older nor further ahead
    return any(_asked(asked_at, at, now) or overdue(at, now, settings) for at in ends) or any(
        wants_read(proof, target.root.volume) for proof in proofs.weak
    )


def _asked(asked_at: int | None, at: int, now: int) -> bool:
    # A proof that is dated ahead was made before the clock was set back.
    return asked_at is not None and not asked_at <= at <= now
