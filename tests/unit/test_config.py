"""The config: what each key takes, and how complaints are said."""

import tomllib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from takehold.formats.config import LARGEST_BYTES, ConfigError, read_config
from takehold.formats.config_rules import SECTIONS, TIMECODE_RATES
from takehold.formats.timecode import rate_named
from takehold.model.errors import UsageError
from takehold.model.settings import Destination, Expect, Role, Settings, Source
from takehold.model.sound import Rate

SECTIONS_TEXT = """
[[source]]
name = "primary"
role = "primary"
label = "SND_A*"
[[destination]]
name = "one"
label = "SHUTTLE_1"
[[destination]]
name = "two"
path = "/srv/audio"
"""
TOP = 'production = "Lantern Bay"\n'
LEAST = TOP + SECTIONS_TEXT


def config(top="", expect="", more=""):
    return f"{TOP}{top}\n[expect]\n{expect}\n{SECTIONS_TEXT}\n{more}\n"


def complaints(text):
    with pytest.raises(ConfigError) as caught:
        read_config(text, "takehold.toml")
    return caught.value.complaints


def test_the_least_config_gives_the_defaults():
    assert read_config(LEAST, "takehold.toml") == Settings(
        "Lantern Bay",
        (Source("primary", Role.PRIMARY, label="SND_A*"),),
        (Destination("one", label="SHUTTLE_1"), Destination("two", path=b"/srv/audio")),
    )


GOOD_TOP = [
    ('unit = "second"', "unit", "second"),
    ('unit = " second "', "unit", "second"),
    ('mixer = "Robin Example"', "mixer", "Robin Example"),
    ('mixer = ""', "mixer", ""),
    ("copies_required = 1", "copies_required", 1),
    ('day_starts_at = "00:00"', "day_starts_at", 0),
    ('wrap_at = "23:59"', "wrap_at", 23 * 60 + 59),
    ('checksums = ["sha256", "xxh64"]', "checksums", ("xxh64", "sha256")),
    ("settle_seconds = 2", "settle_seconds", 2),
    ("settle_seconds = 600", "settle_seconds", 600),
    ("look_every_seconds = 5", "look_every_seconds", 5),
    ("look_every_seconds = 3600", "look_every_seconds", 3600),
    ("recheck_after_days = 1", "recheck_after_days", 1),
    ("recheck_after_days = 3650", "recheck_after_days", 3650),
    ("recheck_cards_at_wrap = true", "recheck_cards_at_wrap", True),
    ("reserve_megabytes = 0", "reserve_megabytes", 0),
    ("reserve_megabytes = 1_000_000", "reserve_megabytes", 1_000_000),
    ("stall_seconds = 5", "stall_seconds", 5),
    ("stall_seconds = 600", "stall_seconds", 600),
]


@pytest.mark.parametrize(("line", "field", "value"), GOOD_TOP)
def test_a_good_value_arrives(line, field, value):
    assert getattr(read_config(config(line), "c"), field) == value


BAD_TOP = [
    'unit = ""',
    'unit = "   "',
    "unit = 1",
    'unit = "a\\u0000b"',
    'unit = "a\\nb"',
    'unit = "a\\u202eb"',
    'mixer = "\\u001b[31m"',
    "mixer = []",
    "copies_required = 0",
    "copies_required = 10",
    "copies_required = 1.0",
    "copies_required = true",
    'copies_required = "2"',
    'day_starts_at = "24:00"',
    'day_starts_at = "6:00"',
    'day_starts_at = "06:60"',
    "day_starts_at = 06:00:00",
    "wrap_at = 2130",
    'wrap_at = "late"',
    'checksums = ["xxh64"]',
    'checksums = ["xxh64", "sha256", "md5"]',
    'checksums = ["sha256", "sha256"]',
    'checksums = "sha256"',
    "checksums = [[], []]",
    "settle_seconds = 1",
    "settle_seconds = 601",
    "look_every_seconds = 4",
    "look_every_seconds = 3601",
    "recheck_after_days = 0",
    "recheck_after_days = 3651",
    'recheck_cards_at_wrap = "true"',
    "recheck_cards_at_wrap = 1",
    "reserve_megabytes = -1",
    "reserve_megabytes = 1000001",
    "stall_seconds = 4",
    "stall_seconds = 601",
    "stall_seconds = nan",
    "stall_seconds = 0x" + "f" * 6000,
]


@pytest.mark.parametrize("line", BAD_TOP)
def test_a_bad_value_is_told_with_its_line_key_and_what_it_takes(line):
    (says,) = complaints(config(line))
    key = line.split(" = ", maxsplit=1)[0]
    takes = next(k.takes for k in SECTIONS[""] if k.name == key)
    assert says.startswith(f"takehold.toml, line 2: {key} = ")
    assert says.endswith(f": takes {takes}")
    assert says.isprintable()


GOOD_EXPECT = [
    ('timecode_rate = "23.976"', Expect(timecode_rate=Rate(24000, 1001))),
    ('timecode_rate = "25"', Expect(timecode_rate=Rate(25, 1))),
    ('timecode_rate = "29.97df"', Expect(timecode_rate=Rate(30000, 1001, drop=True))),
    ("sample_rate = 8000", Expect(sample_rate=8000)),
    ("sample_rate = 768000", Expect(sample_rate=768_000)),
    ("bit_depth = 16", Expect(bit_depth=16)),
    ("bit_depth = 32", Expect(bit_depth=32)),
]


@pytest.mark.parametrize(("line", "expect"), GOOD_EXPECT)
def test_what_the_day_is_set_up_for(line, expect):
    assert read_config(config(expect=line), "c").expect == expect


@pytest.mark.parametrize(
    "line",
    [
        'timecode_rate = "17"',
        'timecode_rate = ""',
        "timecode_rate = true",
        "timecode_rate = inf",
        "sample_rate = 7999",
        "sample_rate = 768001",
        "bit_depth = 20",
        'bit_depth = "24"',
    ],
)
def test_a_bad_expectation_is_refused(line):
    (says,) = complaints(config(expect=line))
    assert says.startswith(f"takehold.toml, line 4: [expect] {line}: ")
    assert ": takes " in says


@pytest.mark.parametrize("number", ["23.976", "25", "29.97"])
def test_a_rate_as_a_number_is_told_to_be_quoted(number):
    (says,) = complaints(config(expect=f"timecode_rate = {number}"))
    assert f'it stands in quotes: "{number}"' in says


def test_every_rate_that_complaints_offer_is_known():
    assert all(rate_named(rate) for rate in TIMECODE_RATES)


def source(*lines, name="extra"):
    return "\n".join(("[[source]]", f'name = "{name}"', 'role = "bodypack"', *lines))


def destination(*lines, name="extra"):
    return "\n".join(("[[destination]]", f'name = "{name}"', *lines))


@pytest.mark.parametrize(
    ("written", "path"),
    [
        ('"/srv//session/./a/"', b"/srv/session/a"),
        ('"/srv/\u00e4"', "/srv/\u00e4".encode()),
        ('"/srv/\udcff"', b"/srv/\xff"),  # PEP 383: a byte that is not UTF-8
        ("'D:\\audio\\'", rb"D:\audio"),
        ("'D:\\'", b"D:\\"),
        ("'\\\\nas\\audio'", rb"\\nas\audio"),
    ],
)
def test_paths_are_bytes(written, path):
    settings = read_config(config(more=source(f"path = {written}")), "c")
    assert settings.source("extra").path == path


def test_a_folder_below_a_labelled_drive():
    more = destination('label = "NEXT"', 'folder = "audio//day/"')
    assert read_config(config(more=more), "c").destinations[-1].folder == b"audio/day"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (source("label = '*'"), "wildcards alone"),
        (source("label = ' '"), "takes a volume's label"),
        (source("label = 5"), "text stands in quotes"),
        (source('path = "srv/x"'), "takes a full path"),
        (source('path = "/srv/../x"'), "must not hold .."),
        (source('path = "~/x"'), "~ is not filled in"),
        (source('path = "/"'), "the whole file system is too much"),
        (source('path = "/a\\tb"'), "control characters"),
        (source("label = 'Caf\udce9'"), "it holds bytes that are no UTF-8"),
        (source('path = "/a"', 'label = "B"'), "has both: takes either label or path"),
        (source(), "has neither: takes either label or path"),
        (source("label = 'B'", name="a b"), "takes up to 64 letters"),
        (source("label = 'B'", name=".x"), "takes up to 64 letters"),
        (source("label = 'B'", name="Primary"), "in use"),
        (source("label = 'B'", name="ONE"), "in use"),
        (source("label = 'snd_a*'"), '"primary" has it'),
        ("[[source]]\nname='x'\nrole='main'\nlabel='B'", 'takes "primary", "backup" or'),
        ("[[source]]\nlabel='B'\nrole='backup'", "name: missing: takes"),
        ("[[source]]\nlabel='B'\nname='x'", "role: missing: takes"),
        (destination('url = "s3://bucket"'), "not built yet: takes label or path"),
        (destination('label = "snd_a*"'), "a card is never written to"),
        (destination('label = "shuttle_1"'), 'the place of "one"'),
        (destination('path = "/srv/audio/"'), 'the place of "two"'),
        (destination('path = "/x"', 'folder = "y"'), "goes with a label"),
        (destination('label = "X"', 'folder = "/y"'), "takes a folder below"),
        (destination('label = "X"', 'folder = "../y"'), "takes a folder below"),
        (destination('label = "X"', 'folder = ""'), "takes a folder below"),
        (source('path = "/srv/audio"'), "same as, in or around"),
        (source('path = "/srv"'), "same as, in or around"),
        (source('path = "/srv/audio/in"'), "same as, in or around"),
        (source('path = "/q"') + "\n" + source('path = "/q/r"', name="x"), "same as, in or around"),
        (
            source("path = 'D:\\Audio'") + "\n" + destination("path = 'd:/audio/x'", name="x"),
            "same as, in or around",
        ),
    ],
)
def test_a_bad_source_or_destination_is_refused(more, says):
    found = complaints(config(more=more))
    assert len(found) == 1
    assert says in found[0]
    assert found[0].startswith("takehold.toml, line ")


def test_a_folder_whose_name_only_begins_alike_is_apart():
    more = (
        source('path = "/srv/audio2"')
        + "\n"
        + destination('label = "SHUTTLE_1"\nfolder = "b"', name="b")
    )
    assert read_config(config(more=more), "c").source("extra").path == b"/srv/audio2"


def test_copies_must_have_as_many_destinations():
    (says,) = complaints(config("copies_required = 3"))
    assert says.startswith("takehold.toml, line 2: copies_required = 3: takes at most")
    one = TOP + SECTIONS_TEXT.rsplit("[[destination]]", maxsplit=1)[0]
    (says,) = complaints(one)
    assert "copies_required = 2, as it is unless set: takes at most" in says


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("copies_requierd = 2", "unknown key: the nearest known one is copies_required"),
        ("sample_rate = 48000", "unknown key: belongs under [expect]"),
        ('label = "X"', "unknown key: belongs under [[source]]"),
        ("zzz = 1", "unknown key: takes production, unit"),
        ('"a\\u001bb" = 1', "unknown key"),
    ],
)
def test_an_unknown_key_is_refused_with_the_nearest_known_one(line, says):
    (found,) = complaints(config(line))
    assert found.startswith("takehold.toml, line 2: ")
    assert says in found
    assert found.isprintable()


def test_a_top_key_below_a_section_is_told_where_it_belongs():
    (says,) = complaints(config(more='wrap_at = "21:30"'))
    assert "[[destination]] wrap_at" in says
    assert "belongs above the first [section]" in says


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "production: missing"),
        (TOP, "source: missing: takes at least one [[source]]"),
        (TOP + "[source]\nname = 'x'", "takes two brackets, [[source]]"),
        (TOP + "source = 3", "source = 3: takes [[source]] sections"),
        (TOP + "destination = []", "destination: missing"),
        (TOP + "expect = 3\n" + SECTIONS_TEXT, "expect = 3: takes an [expect] section"),
        (TOP + "[[source]]\n" * 65, "takes at most 64"),
        (TOP + "wrap_at = 21:30", "line 2: wrap_at = 21:30: "),
        (TOP + 'mixer = "C:\\x"', "single quotes"),
        (TOP + TOP, "takes each key once"),
        ("x = [[[\n\n", "line 1: x = [[[: the file ends before it is complete"),
        (TOP + "mixer", "line 2: mixer: takes key = value"),
        ("x = " + "[" * 5000, "nested too deep"),
        ("x = " + "9" * 5000, "a number is too long"),
        ("#" * (LARGEST_BYTES + 1), "larger than 256 KiB"),
    ],
)
def test_a_config_of_the_wrong_form_is_refused(text, says):
    assert any(says in one for one in complaints(text))


def test_all_complaints_come_at_once_in_the_order_of_lines():
    text = (
        'production = ""\ncopies_required = 0\nnope = 1\n[expect]\nbit_depth = 20\n' + SECTIONS_TEXT
    )
    text = text.replace('role = "primary"', 'role = "main"').replace("/srv", "srv")
    found = complaints(text)
    assert [int(one.split("line ")[1].split(":")[0]) for one in found] == [1, 2, 3, 5, 9, 16]


def test_the_error_is_wrong_usage_and_says_every_complaint():
    with pytest.raises(UsageError) as caught:
        read_config("", "c")
    assert caught.value.says.count("missing") == 3
    assert caught.value.do


def test_a_byte_order_mark_and_windows_line_ends_do_not_matter():
    settings = read_config(LEAST, "c")
    assert read_config("\ufeff" + LEAST.replace("\n", "\r\n"), "c") == settings


@pytest.mark.parametrize("form", ["utf-16", "utf-16-be"])
def test_text_in_utf_16_is_named(form: str) -> None:
    """As some shells and editors write it: every second byte is NUL."""
    mark = b"\xfe\xff" if form == "utf-16-be" else b""
    text = (mark + LEAST.encode(form)).decode("utf-8", "surrogateescape")
    with pytest.raises(ConfigError) as told:
        read_config(text, "c")
    assert told.value.complaints == ("c: is UTF-16: takes UTF-8. Save it as UTF-8",)


WORDS = [key.name for keys in SECTIONS.values() for key in keys]
PIECES = st.sampled_from(
    [f"{word} = " for word in WORDS]
    + ["[expect]\n", "[[source]]\n", "[[destination]]\n", "[source]\n", "\n", "#", "[", "{", "}"]
    + ['"x"', '"06:00"', "2", "-1", "true", "1.5", "nan", '"/a"', '"primary"', '"A*"', "'", '"""']
    + ["07:00:00", "1979-05-27", "[]", "{}", "[{}]", "\\", "\udcff", "\ud800", "\x00", "="]
)


@given(st.lists(PIECES, max_size=40).map("".join) | st.text())
@example(LEAST)
def test_any_text_ends_in_settings_or_complaints(text):
    found = ("",)
    try:
        settings = read_config(text, "c")
    except ConfigError as error:
        settings, found = None, error.complaints
    assert settings is None or isinstance(settings, Settings)
    assert found
    assert all(one.isprintable() for one in found)


VALUES = st.recursive(
    st.booleans() | st.integers() | st.text() | st.floats(),
    lambda v: st.lists(v, max_size=3),
    max_leaves=5,
)


def written(value):
    """A value as TOML; control characters become escapes."""
    if isinstance(value, str):
        plain = "".join(f"\\U{ord(c):08X}" if not c.isalnum() else c for c in value)
        return f'"{plain}"'
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    return str(value).lower().replace("e+", "e")


@given(st.sampled_from(list(SECTIONS)), st.data())
def test_any_value_of_any_key_is_taken_or_complained_about(section, data):
    key = data.draw(st.sampled_from(SECTIONS[section])).name
    value = written(data.draw(VALUES.filter(lambda v: not _surrogates(v))))
    parts = {"": "", "expect": "", "source": "", "destination": ""}
    parts[section] = f"{key} = {value}"
    text = f"{parts['']}\n[expect]\n{parts['expect']}\n[[source]]\n{parts['source']}\n"
    text += f"[[destination]]\n{parts['destination']}\n"
    tomllib.loads(text)
    with pytest.raises(ConfigError):
        read_config(text, "c")


def _surrogates(value):
    if isinstance(value, list):
        return any(map(_surrogates, value))
    return isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value)
