"""The `iXML` chunk: its fields, its traps, and XML that means harm (iXML specification)."""

import tracemalloc

import pytest

from takehold.formats.ixml import MAX_BODY, parse_ixml
from takehold.model.sound import Complaint, Metadata, Rate, Track

FULL = """<?xml version="1.0" encoding="UTF-8"?>
<BWFXML>
<IXML_VERSION>2.10</IXML_VERSION>
<PROJECT>Lantern Bay</PROJECT><SCENE>12A</SCENE><TAKE>WT1</TAKE><TAPE>R7</TAPE>
<CIRCLED>TRUE</CIRCLED><NOTE>tide &amp; gulls</NOTE><FILE_UID>U1</FILE_UID><UBITS>$12311801</UBITS>
<SPEED><NOTE>not the note</NOTE><TIMECODE_RATE>30000/1001</TIMECODE_RATE>
<TIMECODE_FLAG>DF</TIMECODE_FLAG>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>5</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>
<TIMESTAMP_SAMPLE_RATE>96000</TIMESTAMP_SAMPLE_RATE></SPEED>
<FILE_SET><TOTAL_FILES>2</TOTAL_FILES><FAMILY_UID>F1</FAMILY_UID>
<FILE_SET_INDEX>A</FILE_SET_INDEX></FILE_SET>
<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>
<TRACK><CHANNEL_INDEX>3</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX>
<NAME>Boom</NAME><FUNCTION>MIX</FUNCTION><DEFAULT_MIX><LEVEL>OFF</LEVEL></DEFAULT_MIX></TRACK>
<TRACK><NAME>Lav</NAME></TRACK></TRACK_LIST>
<BEXT><BWF_ORIGINATOR>Mixer 7</BWF_ORIGINATOR></BEXT>
<LOCATION><NAME>passed over</NAME></LOCATION>
</BWFXML>"""


def parsed(text: str | bytes) -> Metadata:
    metadata = parse_ixml(text.encode() if isinstance(text, str) else text)
    assert isinstance(metadata, Metadata)
    return metadata


def complaint(body: bytes) -> str:
    answer = parse_ixml(body)
    assert isinstance(answer, Complaint)
    assert answer.code == "ixml-unreadable"
    return answer.detail


def speed(inner: str) -> Metadata:
    return parsed(f"<BWFXML><SPEED>{inner}</SPEED></BWFXML>")


def since_midnight(high: str, low: str) -> int | None:
    name = "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_"
    return speed(f"<{name}HI>{high}</{name}HI><{name}LO>{low}</{name}LO>").time_reference


def test_every_field():
    assert parsed(FULL) == Metadata(
        project="Lantern Bay",
        scene="12A",
        take="WT1",
        tape="R7",
        circled=True,
        note="tide & gulls",
        originator="Mixer 7",
        time_reference=(1 << 32) + 5,
        timecode_rate=Rate(30000, 1001, drop=True),
        timestamp_sample_rate=96000,
        file_uid="U1",
        family_uid="F1",
        total_files=2,
        set_index="A",
        ubits="12311801",
        tracks=(Track(3, 1, "Boom", "MIX"), Track(2, 2, "Lav")),
    )


def test_an_empty_document_says_nothing():
    assert parsed("<BWFXML/>") == Metadata()


def test_high_and_low_are_words_not_digits():
    assert since_midnight("0000000000", "2190940753") == 2190940753
    assert since_midnight("1", "0") == 4294967296
    assert since_midnight("0", "-1944591466") == 2350375830
    assert since_midnight("", "77") == 77
    assert since_midnight("1", "") is None
    assert since_midnight("0", "noon") is None


@pytest.mark.parametrize(
    ("ratio", "flag", "rate"),
    [
        ("24000/1001", "NDF", Rate(24000, 1001)),
        ("25/1", "", Rate(25, 1)),
        ("25", "NDF", Rate(25, 1)),
        ("30000/1001", "DF", Rate(30000, 1001, drop=True)),
        ("25/1", "DF", Rate(25, 1)),
        ("2997/100", "NDF", Rate(30000, 1001)),
        ("1/0", "NDF", None),
        ("7/1", "NDF", None),
        ("-25/1", "NDF", None),
        ("9" * 5000 + "/1", "NDF", None),
    ],
)
def test_rates(ratio: str, flag: str, rate: Rate | None):
    inner = f"<TIMECODE_RATE>{ratio}</TIMECODE_RATE><TIMECODE_FLAG>{flag}</TIMECODE_FLAG>"
    assert speed(inner).timecode_rate == rate


@pytest.mark.parametrize("tail", [b"\0" * 900, b" \r\n\0\0", b"\0<stale", b"\n" * 9])
def test_what_fills_the_reserved_room_is_cut(tail: bytes):
    assert parsed(FULL.encode() + tail).scene == "12A"


def test_first_of_doubled_elements_counts_and_empty_ones_do_not():
    text = "<BWFXML><SCENE/><SCENE>1</SCENE><SCENE>2</SCENE><CIRCLED></CIRCLED></BWFXML>"
    assert parsed(text) == Metadata(scene="1")


def test_undeclared_prefix_is_passed_over():
    text = "<BWFXML><BWF:X>y</BWF:X><SCENE>1</SCENE></BWFXML>"
    assert parsed(text).scene == "1"


@pytest.mark.parametrize("label", ["UTF-8", "UTF-16", "ISO-8859-1", "no-such-code"])
@pytest.mark.parametrize("code", ["utf-8", "latin-1"])
def test_a_wrong_encoding_label_does_no_harm(label: str, code: str):
    text = f'<?xml version="1.0" encoding="{label}"?><BWFXML><NOTE>Café</NOTE></BWFXML>'
    assert parsed(text.encode(code)).note == "Café"


@pytest.mark.parametrize(
    "body", [b"", b"\0\0", b"<BWFXML>", b"<BWFXML><A></BWFXML>", b"<BWFXML>&who;</BWFXML>", b"text"]
)
def test_what_is_not_well_formed_is_unreadable(body: bytes):
    assert complaint(body)


def test_another_root_is_unreadable():
    assert "root" in complaint(b"<ebuCoreMain/>")


def test_a_document_type_is_refused():
    """Entities that grow ("billion laughs") need one."""
    body = b'<!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><BWFXML><NOTE>&b;</NOTE></BWFXML>'
    assert "document type" in complaint(body)


def test_depth_is_limited():
    assert "deep" in complaint(b"<BWFXML>" + b"<a>" * 40 + b"</a>" * 40 + b"</BWFXML>")


def test_length_is_limited():
    assert "longer" in complaint(b"<BWFXML/>" + b" " * MAX_BODY)


def test_long_nested_names_take_no_more_room_than_the_body():
    name = b"a" * 200_000
    inner = b"".join(b"<b%d>x</b%d>" % (n, n) for n in range(20_000))
    body = b"<BWFXML><%s>%s</%s></BWFXML>" % (name, inner, name)
    tracemalloc.start()
    assert parsed(body) == Metadata()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 20 * MAX_BODY


@pytest.mark.parametrize(
    ("elements", "words"),
    [
        ("<TAKE_TYPE>FALSE_START,PICKUP</TAKE_TYPE>", ("FALSE_START", "PICKUP")),
        ("<TAKE_TYPE> no_good , ,DEFAULT,Own_Word </TAKE_TYPE>", ("NO_GOOD", "OWN_WORD")),
        ("<TAKE_TYPE>DEFAULT</TAKE_TYPE>", ()),
        ("<TAKE_TYPE></TAKE_TYPE><WILD_TRACK></WILD_TRACK>", ()),
        ("<NO_GOOD>TRUE</NO_GOOD><FALSE_START>FALSE</FALSE_START>", ("NO_GOOD",)),
        ("<WILD_TRACK>true</WILD_TRACK>", ("WILD_TRACK",)),
        (
            "<TAKE_TYPE>WILD_TRACK</TAKE_TYPE><NO_GOOD/><FALSE_START>TRUE</FALSE_START>",
            ("WILD_TRACK", "FALSE_START"),
        ),
    ],
)
def test_take_types(elements: str, words: tuple[str, ...]) -> None:
    """TAKE_TYPE of version 2, and the elements that it took the place of (iXML specification)."""
    assert parsed(f"<BWFXML>{elements}</BWFXML>").types == words


def test_endless_take_types_are_cut() -> None:
    many = ",".join(f"W{n}" for n in range(100_000))
    assert parsed(f"<BWFXML><TAKE_TYPE>{many}</TAKE_TYPE></BWFXML>").types == tuple(
        f"W{n}" for n in range(32)
    )


def test_the_file_that_it_was_made_from() -> None:
    said = parsed(
        "<BWFXML><HISTORY><ORIGINAL_FILENAME>P_1.wav</ORIGINAL_FILENAME>"
        "<PARENT_FILENAME>P.wav</PARENT_FILENAME><PARENT_UID>U1</PARENT_UID></HISTORY></BWFXML>"
    )
    assert (said.parent_name, said.parent_uid) == ("P.wav", "U1")
