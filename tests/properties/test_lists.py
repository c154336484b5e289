"""For any names: lists and encodings give back what they were given, and nothing meets."""

from hypothesis import given
from hypothesis import strategies as st

from takehold.formats.canonical import canonical, parse
from takehold.formats.checksum_list import read_list, sha256_list, xxh64_list
from takehold.formats.names import (
    PART_BYTES,
    display,
    good_relative,
    is_shown,
    safe_part,
    safe_path,
    same_key,
    shown,
)
from ways_back import unsafe_part

# Names as a file system may hold them, rich in what is special here.
special = st.sampled_from([b"\\", b"\n", b"\r", b"%", b"%41", b".", b" ", b"CON", b":", b"\xff"])
part = st.lists(special | st.binary(min_size=1, max_size=4) | st.text(max_size=3).map(str.encode))
names = part.map(b"".join).map(lambda n: n.replace(b"\0", b"")).filter(bool)
entries = st.dictionaries(names, st.binary(min_size=32, max_size=32).map(bytes.hex))


@given(entries)
def test_a_sha256_list_reads_back(names_to_hex: dict[bytes, str]) -> None:
    raw = sha256_list((h, n) for n, h in names_to_hex.items())
    assert read_list(raw) == tuple((h, n) for n, h in sorted(names_to_hex.items()))


@given(entries)
def test_an_xxh64_list_reads_back_and_with_the_names_left_out_is_whole(
    names_to_hex: dict[bytes, str],
) -> None:
    raw, left_out = xxh64_list((h[:16], n) for n, h in names_to_hex.items())
    listed = [n for _, n in read_list(raw)]
    assert sorted([*listed, *left_out]) == sorted(names_to_hex)


@given(names)
def test_a_safe_part_comes_back_unless_cut(name: bytes) -> None:
    safe = safe_part(name)
    assert len(safe) <= PART_BYTES
    assert unsafe_part(safe) in (None, name)
    assert (unsafe_part(safe) is None) == (b"%~" in safe)


@given(names)
def test_a_safe_part_is_holdable(name: bytes) -> None:
    text = safe_part(name).decode("utf-8")
    assert not set(text) & set('"*/:<>?\\|\x7f')
    assert min(text) >= " "
    assert text[-1] not in ". "
    assert text.split(".")[0].rstrip().lower() not in ("con", "nul", "aux", "prn", "com1", "lpt9")
    assert not same_key(text.encode()).startswith(".takehold-")


@given(names, names)
def test_two_names_never_become_one(one: bytes, other: bytes) -> None:
    assert (safe_part(one) == safe_part(other)) == (one == other)


@given(st.binary())
def test_a_safe_path_stays_below_its_folder(path: bytes) -> None:
    assert good_relative(safe_path(path))


@given(st.binary(), st.binary())
def test_shown_names_hold_nothing_hidden_and_differ_as_the_names_do(a: bytes, b: bytes) -> None:
    assert is_shown(display(a))
    assert (display(a) == display(b)) == (a == b)


@given(st.text(st.characters(codec=None)))
def test_shown_text_can_be_printed_anywhere(text: str) -> None:
    assert is_shown(shown(text))
    shown(text).encode("utf-8")


@given(st.text(), st.text())
def test_the_key_of_names_that_meet_is_stable(one: str, other: str) -> None:
    raw = f"{one}/{other}".encode()
    assert same_key(same_key(raw).encode()) == same_key(raw)


json_values = st.recursive(
    st.none() | st.booleans() | st.text() | st.integers(-(2**53) + 1, 2**53 - 1),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(json_values)
def test_canonical_json_reads_back_to_the_same_bytes(value: object) -> None:
    raw = canonical(value)
    assert canonical(parse(raw, 1 << 20)) == raw
