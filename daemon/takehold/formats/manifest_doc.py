"""The manifest and the receipt, as the receiving side reads them (docs/manifest.md).

Rule of this file: a document from outside is untrusted. What is used is checked; what is not used
is not looked at, so that a later program may add to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from takehold.formats.canonical import canonical, parse
from takehold.formats.names import display, good_relative, is_shown, same_key, shown
from takehold.model.errors import Malformed
from takehold.model.finding import Verdict

MANIFEST_SCHEMA = "takehold-manifest/1"
RECEIPT_SCHEMA = "takehold-receipt/1"

MANIFEST_CAP = 256 << 20
RECEIPT_CAP = 32 << 20
"""The most bytes that are read: about 100 000 files with all their tracks."""

CONTAINERS_CAP = 4_000_000
"""Objects and lists in one manifest, about 20 for a file: an empty one is 2 bytes and takes 64."""

ITEMS_CAP = 200_000
TEXT_CAP = 16_384
PLACE_CAP = 4096

SIGNATURE_WORDS = ("confirmed", "first use", "bad", "none")
"""How the receiver found the manifest's signature."""

_HEX = re.compile(r"[0-9a-f]*")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
# The subset of RFC 3339 in which text order is time order.
_MOMENT = re.compile(r"[0-9]{4}-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-5][0-9]:[0-5][0-9]Z")


@dataclass(frozen=True, slots=True)
class ManifestRef:
    """The revision that this one follows, by the SHA-256 of its file."""

    name: str
    day: str
    revision: int
    sha256: str


@dataclass(frozen=True, slots=True)
class ManifestFile:
    """What should stand at a place, relative to the day folder. `load` is a load's id.

    `copy_paths` are the names, relative to the day folder too, that its proven copies were given:
    another one than `place` where a destination had that name in use.
    """

    load: int
    place: bytes
    size: int
    xxh64: str
    sha256: str
    current: bool
    copy_paths: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class ManifestDoc:
    """A day's manifest. `refused` shows places that may not be opened; the others can be checked.

    A manifest with refused places is never wholly confirmed.
    """

    production: str
    unit: str
    mixer: str
    day: str
    revision: int
    written_at: str
    verdict: Verdict
    reasons: tuple[str, ...]
    previous: ManifestRef | None
    files: tuple[ManifestFile, ...]
    refused: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReceiptDoc:
    """The receiver's answer to one manifest.

    `altered`, `missing` and `unknown` hold places as `display` shows them. `signature` is one of
    `SIGNATURE_WORDS`; `signer` is the manifest key's fingerprint, empty where there is none.
    """

    name: str
    sha256: str
    production: str
    day: str
    revision: int
    checked_at: str
    received_by: str
    folder: str
    program: str
    intact: int
    altered: tuple[str, ...]
    missing: tuple[str, ...]
    unknown: tuple[str, ...]
    signature: str
    signer: str


def read_manifest(raw: bytes) -> ManifestDoc:
    """The manifest in these bytes; its signature is over them and is not looked at here.

    Raises Malformed, naming the entry. A file entry that is well-formed but whose place, or a
    copy's path, leaves the folder, or whose place meets another's, goes to `refused`.
    """
    if raw.count(b"{") + raw.count(b"[") > CONTAINERS_CAP:
        raise Malformed("This manifest nests far more lists than a day's files have.")
    doc = _Entry.of(parse(raw, MANIFEST_CAP), MANIFEST_SCHEMA, "manifest")
    files, refused = _files(doc)
    previous = doc.get("previous")
    return ManifestDoc(
        production=doc.text("production"),
        unit=doc.text("unit"),
        mixer=doc.text("mixer"),
        day=doc.day("day"),
        revision=doc.count("revision", least=1),
        written_at=doc.moment("written_at"),
        verdict=Verdict(doc.word("verdict", tuple(Verdict))),
        reasons=doc.texts("reasons"),
        previous=None if previous is None else _ref(doc.entry("previous")),
        files=files,
        refused=refused,
    )


def receipt_bytes(receipt: ReceiptDoc) -> bytes:
    """The receipt as canonical JSON. Raises Malformed for what `read_receipt` would refuse."""
    manifest = {key: getattr(receipt, key) for key in _REF_KEYS}
    answer = {key: getattr(receipt, key) for key in _ANSWER_KEYS}
    lists = {key: list(getattr(receipt, key)) for key in _LIST_KEYS}
    raw = canonical({"schema": RECEIPT_SCHEMA, "manifest": manifest, **answer, **lists})
    read_receipt(raw)
    return raw


def read_receipt(raw: bytes) -> ReceiptDoc:
    """The receipt in these bytes. Raises Malformed, naming the entry."""
    doc = _Entry.of(parse(raw, RECEIPT_CAP), RECEIPT_SCHEMA, "receipt")
    manifest = doc.entry("manifest")
    return ReceiptDoc(
        name=manifest.file_name("name"),
        sha256=manifest.hex("sha256", 64),
        production=manifest.text("production"),
        day=manifest.day("day"),
        revision=manifest.count("revision", least=1),
        checked_at=doc.moment("checked_at"),
        received_by=doc.text("received_by"),
        folder=doc.text("folder"),
        program=doc.text("program"),
        intact=doc.count("intact"),
        altered=doc.shown_names("altered"),
        missing=doc.shown_names("missing"),
        unknown=doc.shown_names("unknown"),
        signature=doc.word("signature", SIGNATURE_WORDS),
        signer=doc.text("signer"),
    )


_REF_KEYS = ("name", "sha256", "production", "day", "revision")
_LIST_KEYS = ("altered", "missing", "unknown")
_ANSWER_KEYS = (
    "checked_at",
    "received_by",
    "folder",
    "program",
    "intact",
    "signature",
    "signer",
)


def _ref(entry: _Entry) -> ManifestRef:
    return ManifestRef(
        name=entry.file_name("name"),
        day=entry.day("day"),
        revision=entry.count("revision", least=1),
        sha256=entry.hex("sha256", 64),
    )


def _files(doc: _Entry) -> tuple[tuple[ManifestFile, ...], tuple[str, ...]]:
    loads = {load.count("id") for load in doc.entries("loads")}
    files: list[ManifestFile] = []
    refused: list[str] = []
    met: set[str] = set()
    for entry in doc.entries("files"):
        file = _file(entry, loads)
        key = same_key(file.place)
        # The first of two that meet stays: one bad entry must not block its neighbour.
        if key in met or not all(map(_stays, (file.place, *file.copy_paths))):
            refused.append(display(file.place))
        else:
            met.add(key)
            files.append(file)
    return tuple(files), tuple(refused)


def _stays(place: bytes) -> bool:
    return len(place) <= PLACE_CAP and good_relative(place)


def _file(entry: _Entry, loads: set[int]) -> ManifestFile:
    load = entry.count("load")
    if load not in loads:
        raise entry.malformed("load", "the id of one of the loads")
    return ManifestFile(
        load=load,
        place=_name(entry, "place"),
        size=entry.count("size"),
        xxh64=entry.hex("xxh64", 16),
        sha256=entry.hex("sha256", 64),
        current=entry.flag("current"),
        copy_paths=tuple(_name(copy, "path") for copy in entry.entries("copies")),
    )


def _name(entry: _Entry, key: str) -> bytes:
    """`…_hex` has the bytes where they are no UTF-8; the text beside it then only shows them."""
    bytes_key = f"{key}_hex"
    if entry.get(bytes_key) is None:
        return entry.text(key).encode()
    return bytes.fromhex(entry.hex(bytes_key))


@dataclass(frozen=True, slots=True)
class _Entry:
    """One object of the document. Each method takes a key, checks its value and returns it."""

    where: str
    value: dict[str, object]

    @staticmethod
    def of(value: object, schema: str, what: str) -> _Entry:
        if not isinstance(value, dict):
            raise Malformed(f"This is no {what}: it is not a JSON object.")
        if value.get("schema") != schema:
            raise Malformed(
                f"This is no {what} of the form {schema}.",
                do="If it was written by a later takehold, check it with that one.",
            )
        return _Entry(what, value)

    def malformed(self, key: str, takes: str) -> Malformed:
        return Malformed(f"The {self.where} is not in its form: {key} has to be {takes}.")

    def get(self, key: str) -> object:
        return self.value.get(key)

    def text(self, key: str) -> str:
        return self._text(key, self.get(key))

    def word(self, key: str, words: tuple[str, ...]) -> str:
        return self._text(key, self.get(key), words.__contains__, "one of " + ", ".join(words))

    def moment(self, key: str) -> str:
        takes = "a UTC time like 2031-05-06T07:08:09Z"
        return self._text(key, self.get(key), lambda t: _MOMENT.fullmatch(t) is not None, takes)

    def day(self, key: str) -> str:
        return self._text(key, self.get(key), _is_day, "a date like 2031-05-06")

    def file_name(self, key: str) -> str:
        return self._text(key, self.get(key), _is_file_name, "a file's name")

    def hex(self, key: str, digits: int | None = None) -> str:
        takes = f"{digits or 'pairs of'} lower-case hex digits"
        return self._text(key, self.get(key), lambda t: _is_hex(t, digits), takes)

    def texts(self, key: str) -> tuple[str, ...]:
        return tuple(self._text(key, item) for item in self._list(key))

    def shown_names(self, key: str) -> tuple[str, ...]:
        takes = "names with their hidden characters escaped"
        return tuple(self._text(key, item, is_shown, takes) for item in self._list(key))

    def count(self, key: str, least: int = 0) -> int:
        value = self.get(key)
        if not isinstance(value, int) or isinstance(value, bool) or value < least:
            raise self.malformed(key, f"a whole number from {least} on")
        return value

    def flag(self, key: str) -> bool:
        value = self.get(key)
        if not isinstance(value, bool):
            raise self.malformed(key, "true or false")
        return value

    def entry(self, key: str) -> _Entry:
        return self._entry(key, self.get(key))

    def entries(self, key: str) -> tuple[_Entry, ...]:
        items = enumerate(self._list(key), 1)
        return tuple(self._entry(f"{key} entry {number}", item) for number, item in items)

    def _entry(self, key: str, value: object) -> _Entry:
        if not isinstance(value, dict):
            raise self.malformed(key, "an object")
        place = value.get("place")
        called = f" ({shown(place[:200])})" if isinstance(place, str) else ""
        return _Entry(f"{self.where}'s {key}{called}", value)

    def _list(self, key: str) -> list[object]:
        value = self.get(key)
        if not isinstance(value, list) or len(value) > ITEMS_CAP:
            raise self.malformed(key, f"a list of at most {ITEMS_CAP}")
        return value

    def _text(
        self,
        key: str,
        value: object,
        good: Callable[[str], bool] = lambda _: True,
        takes: str = f"text of at most {TEXT_CAP} characters",
    ) -> str:
        if not isinstance(value, str) or len(value) > TEXT_CAP or not good(value):
            raise self.malformed(key, takes)
        return value


def _is_day(text: str) -> bool:
    if not _DAY.fullmatch(text):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _is_hex(text: str, digits: int | None) -> bool:
    right = len(text) % 2 == 0 if digits is None else len(text) == digits
    return right and _HEX.fullmatch(text) is not None


def _is_file_name(text: str) -> bool:
    return good_relative(text.encode()) and not {"/", "\\"} & set(text)
