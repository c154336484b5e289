"""engine/requests: what a stored command becomes, and what is refused."""

from __future__ import annotations

import json

import pytest

from takehold.engine.requests import AT_ONCE, ack_text, facts_of, receipt_text
from takehold.model.errors import Malformed
from takehold.model.facts import Acked, Asked, Receipt

RECEIPT = Receipt(
    manifest_sha256="ab" * 32,
    day="2031-03-14",
    number=2,
    at=1_930_000_000,
    received_by="Digital lab",
    signer="SHA256:xyz",
    intact=40,
    altered=("T01.WAV",),
    missing=(),
    unknown=("notes.txt", "b\\xff.wav"),
)


def test_an_ack_comes_back_as_it_was_given() -> None:
    """Finding and note, at the time when it was asked."""
    note = 'Heard it, "fine".\nKeep.'
    asked = Asked(7, "ack", ack_text("0a1b2c3d", note), 1000)
    assert facts_of(asked) == (Acked("0a1b2c3d", note, 1000),)


def test_a_receipt_comes_back_as_it_was_given() -> None:
    """Lists are tuples again."""
    assert facts_of(Asked(7, "receipt", receipt_text(RECEIPT), 1000)) == (RECEIPT,)


@pytest.mark.parametrize("kind", sorted(AT_ONCE))
@pytest.mark.parametrize(
    "about", ["", "{", "[]", "7", "null", '"x"', "{}", '{"finding": "a"}', '{"altered": 7}']
)
def test_what_cannot_be_read_is_refused(kind: str, about: str) -> None:
    """Never a traceback: the sentence names the command."""
    with pytest.raises(Malformed, match="9"):
        facts_of(Asked(9, kind, about, 1000))


@pytest.mark.parametrize("extra", [{"color": 1}, {"manifest_sha256": None}])
def test_a_receipt_with_a_field_more_is_refused_or_one_less(extra: dict[str, object]) -> None:
    """Exactly the fields of a receipt."""
    said = json.loads(receipt_text(RECEIPT)) | extra
    said = {k: v for k, v in said.items() if v is not None}
    with pytest.raises(Malformed):
        facts_of(Asked(9, "receipt", json.dumps(said), 1000))
