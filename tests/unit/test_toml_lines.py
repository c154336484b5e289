"""Lines of keys. What a key path is, the standard library's tomllib says in each test."""

import tomllib
from textwrap import dedent

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takehold.formats.toml_lines import line_of, lines_of

TEXT = dedent(
    '''\
    # a comment with = and [brackets]
    production = "a # [b] = \\" c"
    wrap_at = '21:30' # late
    long = """
    decoy = 1
    [decoy]
    """"
    "quoted key".part = 3.14

    [expect]
    sample_rate = 48000
    [[source]]
    name = "primary"
    [[source]]
    name = 'backup'
    list = [
      1, # one
      { a = 2, b = { c = [1,
      2] } }, 07:30:00 ]
    [source.more]
    key = 1979-05-27 07:32:00
    '''
)


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("production",), 2),
        (("wrap_at",), 3),
        (("long",), 4),
        (("quoted key", "part"), 8),
        (("expect",), 10),
        (("expect", "sample_rate"), 11),
        (("source", 0), 12),
        (("source", 0, "name"), 13),
        (("source", 1), 14),
        (("source", 1, "list", 0), 17),
        (("source", 1, "list", 1, "b", "c", 1), 19),
        (("source", 1, "list", 2), 19),
        (("source", 1, "more", "key"), 21),
        (("decoy",), None),
        (("source", 2), None),
    ],
)
def test_each_key_is_found_on_its_line(path, line):
    tomllib.loads(TEXT)
    assert line_of(TEXT, path) == line


def test_windows_line_ends_count_once():
    assert line_of("a = 1\r\nb = 2\r\n", ("b",)) == 2


def paths(value, at=()):
    """Every key path that tomllib sees."""
    entries = value.items() if isinstance(value, dict) else enumerate(value)
    for key, inner in entries:
        yield (*at, key)
        if isinstance(inner, dict | list):
            yield from paths(inner, (*at, key))


# Each kind of string of TOML 1.0.0, with what may confuse a reader of lines.
VALUES = st.sampled_from(
    [
        "1",
        "1.5e3",
        "true",
        '"a#b"',
        r'"\""',
        "'#['",
        '"""x\n[y]\n"""',
        "'''\nz = 1'''",
        '""""q"""""',
        "[1, [2, 3], {k = 4}]",
        "{a = 1, b.c = [5]}",
        "[\n1,\n# n\n2,\n]",
        "2024-05-27 07:32:00",
        "[]",
    ]
)


@given(st.lists(st.tuples(st.integers(0, 2), VALUES), max_size=12))
def test_every_path_of_any_document_has_the_line_of_its_definition(parts):
    """Documents of known lines: the path's line is where its statement began."""
    text, where, at, count = "", {}, (), 0
    for number, (kind, value) in enumerate(parts):
        line = text.count("\n") + 1
        if kind == 1:
            text, at = text + f"[t{number}] # c\n", (f"t{number}",)
            where[at] = line
        elif kind == 2:
            text, at, count = text + "[[list]]\n", ("list", count), count + 1
            where[at] = line
        line = text.count("\n") + 1
        text += f"k{number} = {value}\n"
        where[(*at, f"k{number}")] = line
    found = lines_of(text)
    assert {path: found.get(path) for path in where} == where
    assert set(paths(tomllib.loads(text))) == set(found)


@given(st.text(alphabet="ab=.[]{},\"'#\\\n -1"))
def test_any_text_ends(text):
    """Text that is no TOML gives an answer too, and no error."""
    lines_of(text)
