"""Which copies are to be read again because of their proof: too old, too weak, or asked for?"""

from __future__ import annotations

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


def may_be_stale(
    ledger: Ledger, target: Target, now: int, settings: Settings, asked_at: int | None
) -> set[int]:
    """Recordings on a drive of which a copy may be stale: of a day that sleeps all, or none."""
    root = target.root.identity
    mine = set(ledger.held.get(root, ()))
    for outline in ledger.asleep.values():
        proofs = outline.proofs.get(root)
        if proofs is not None and _any_stale(proofs, target, now, settings, asked_at):
            mine |= set(proofs.of)
    failed = {int(key.split()[1]) for key in ledger.troubles if key.startswith("prove ")}
    return mine | {number for number in failed if ledger.stands_on(number, (root,))}


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
