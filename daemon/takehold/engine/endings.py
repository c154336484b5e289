"""Troubles that end because their work is no more: a pure question, asked with every new fact."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from takehold.decide.enrol import untaken
from takehold.decide.keys import prove_key, publish_key, rec_key
from takehold.decide.plan import refuted
from takehold.decide.reads import DISPUTES
from takehold.model.facts import Broken, Fact, Gone, Inventoried, Met, Trouble
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Proof, Seen
from takehold.model.situation import Sight

ABOUT_A_RECORDING = frozenset({"rec", "land", "prove", "salvage"})


def ended(ledger: Ledger, facts: Iterable[Fact]) -> set[str]:
    """The keys whose work ends with these facts: of what is gone, replaced or broken."""
    told = list(facts)
    keys = set(_owed_no_more(ledger, [fact for fact in told if isinstance(fact, Broken)]))
    for fact in told:
        match fact:
            case Gone(recording=rid):
                keys |= {key for key in ledger.troubles if _is_about(key, rid)}
                keys |= {key for key in ledger.troubles if _compares(key, {rid})}
            case Inventoried(recording):
                older = ledger.versions(recording.load, recording.path)
                keys |= {rec_key(old.id) for old in older}
                keys |= {key for key in ledger.troubles if _compares(key, {o.id for o in older})}
                for old in older:  # copied no more: nothing holds its bytes, or they were misread
                    if not ledger.copies_of(old.id) or refuted(old):
                        keys |= {key for key in ledger.troubles if _is_about(key, old.id)}
            case Trouble(key=key, code="file-vanished"):  # never read: no drive can have it
                keys |= {other for other in ledger.troubles if other.startswith(f"land {key[4:]} ")}
            case Met(day=day, number=number, root=root):
                keys.add(publish_key(day, number, root))
            case Broken(rid, destination, root, path):
                unproven = Proof(fact.at, Seen.UNKNOWN, durable=False)
                keys.add(prove_key(Copy(rid, destination, root, frozenset(), path, unproven)))
            case _:
                pass
    return keys & set(ledger.troubles)


def _owed_no_more(ledger: Ledger, broken: list[Broken]) -> Iterator[str]:
    """Manifests that are owed to a drive no more: with these it has lost its last copy of a day."""
    lost = {(fact.recording, fact.root, fact.path) for fact in broken}
    roots = {fact.root for fact in broken}
    for key in ledger.troubles if roots else ():
        word, day, _, root = (*key.split(" ", 3), "", "", "")[:4]
        if word == "publish" and root in roots:
            held = {(r.id, c.root, c.path) for r in ledger.day(day) for c in ledger.copies_of(r.id)}
            if not any(copy[1] == root for copy in held - lost):
                yield key


def _is_about(key: str, recording: int) -> bool:
    word, number, *_ = key.split()
    return word in ABOUT_A_RECORDING and number == str(recording)


def _compares(key: str, recordings: set[int]) -> bool:
    """Whether it is about samples of one of these; a newer version is compared in its place."""
    word, *sides = key.split()
    if word != "compare":
        return False
    return not recordings.isdisjoint(int(n) for side in sides for n in side.split(","))


def came_late(ledger: Ledger, key: str) -> bool:
    """Whether work is about a recording that is known no more: its trouble would never end.

    A drive may tell of a failed copy after the read has shown that the file is an old one.
    """
    word, number, *_ = (*key.split(), "", "")
    return word in ABOUT_A_RECORDING and int(number) not in ledger.recordings


def left(ledger: Ledger, sight: Sight) -> set[str]:
    """The keys of what could not be described and lies on its card no more, or was since.

    The listing must be complete: absence from one that broke off is no evidence.
    """
    here = {file.path.hex() for file in sight.files}
    about = [(key, key.split()) for key in ledger.troubles if key.startswith("stock ")]
    keys = {k for k, (_, load, path) in about if load == str(sight.load) and path not in here}
    card = f"load {sight.load}"
    if card in ledger.troubles and not untaken(
        ledger, sight.load, tuple((file.path, file.stamp) for file in sight.files)
    ):
        keys.add(card)
    return keys | _read_no_more(ledger, sight, here)


def _read_no_more(ledger: Ledger, sight: Sight, here: set[str]) -> set[str]:
    """Of files that were read, and are not there to be read again."""
    paths = ledger.of_load.get(sight.load, {})
    gone = [ledger.recordings[i] for path in paths if path.hex() not in here for i in paths[path]]
    keys = {rec_key(recording.id) for recording in gone if recording.readings}
    return {k for k in keys & set(ledger.troubles) if ledger.troubles[k].code not in DISPUTES}
