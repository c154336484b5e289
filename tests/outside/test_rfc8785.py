"""Canonical JSON against published vectors.

Source of VECTORS: cyberphone/json-canonicalization, testdata/input and testdata/output
(Apache-2.0), the vectors that RFC 8785 refers to in its appendix F. Source of NUMBERS: RFC 8785,
appendix B.
"""

import struct

import pytest

from takehold.formats.canonical import canonical, parse

VECTORS: dict[str, tuple[bytes, str]] = {
    "arrays": (
        b'[\n  56,\n  {\n    "d": true,\n    "10": null,\n    "1": [ ]\n  }\n]\n',
        "5b35362c7b2231223a5b5d2c223130223a6e756c6c2c2264223a747275657d5d",
    ),
    "french": (
        (
            b"{\n"
            b'  "peach": "This sorting order",\n'
            b'  "p\xc3\xa9ch\xc3\xa9": "is wrong according to French",\n'
            b'  "p\xc3\xaache": "but canonicalization MUST",\n'
            b'  "sin":   "ignore locale"\n'
            b"}\n"
        ),
        (
            "7b227065616368223a225468697320736f7274696e67206f72646572222c2270c3a96368c3a9223a2269"
            "732077726f6e67206163636f7264696e6720746f204672656e6368222c2270c3aa636865223a22627574"
            "2063616e6f6e6963616c697a6174696f6e204d555354222c2273696e223a2269676e6f7265206c6f6361"
            "6c65227d"
        ),
    ),
    "structures": (
        (
            b"{\n"
            b'  "1": {"f": {"f": "hi","F": 5} ,"\\n": 56.0},\n'
            b'  "10": { },\n'
            b'  "": "empty",\n'
            b'  "a": { },\n'
            b'  "111": [ {"e": "yes","E": "no" } ],\n'
            b'  "A": { }\n'
            b"}"
        ),
        (
            "7b22223a22656d707479222c2231223a7b225c6e223a35362c2266223a7b2246223a352c2266223a2268"
            "69227d7d2c223130223a7b7d2c22313131223a5b7b2245223a226e6f222c2265223a22796573227d5d2c"
            "2241223a7b7d2c2261223a7b7d7d"
        ),
    ),
    "unicode": (
        b'{\n  "Unnormalized Unicode":"A\\u030a"\n}\n',
        "7b22556e6e6f726d616c697a656420556e69636f6465223a2241cc8a227d",
    ),
    "values": (
        (
            b"{\n"
            b'  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],\n'
            b'  "string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/",\n'
            b'  "literals": [null, true, false]\n'
            b"}"
        ),
        (
            "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b33"
            "33333333333333332e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c2273"
            "7472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
        ),
    ),
    "weird": (
        (
            b"{\n"
            b'  "\\u20ac": "Euro Sign",\n'
            b'  "\\r": "Carriage Return",\n'
            b'  "\\u000a": "Newline",\n'
            b'  "1": "One",\n'
            b'  "\\u0080": "Control\\u007f",\n'
            b'  "\\ud83d\\ude02": "Smiley",\n'
            b'  "\\u00f6": "Latin Small Letter O With Diaeresis",\n'
            b'  "\\ufb33": "Hebrew Letter Dalet With Dagesh",\n'
            b'  "</script>": "Browser Challenge"\n'
            b"}\n"
        ),
        (
            "7b225c6e223a224e65776c696e65222c225c72223a2243617272696167652052657475726e222c223122"
            "3a224f6e65222c223c2f7363726970743e223a2242726f77736572204368616c6c656e6765222c22c280"
            "223a22436f6e74726f6c7f222c22c3b6223a224c6174696e20536d616c6c204c6574746572204f205769"
            "746820446961657265736973222c22e282ac223a224575726f205369676e222c22f09f9882223a22536d"
            "696c6579222c22efacb3223a22486562726577204c65747465722044616c657420576974682044616765"
            "7368227d"
        ),
    ),
}

NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


@pytest.mark.parametrize("name", sorted(VECTORS))
def test_a_published_document_has_its_published_bytes(name: str) -> None:
    given, expected = VECTORS[name]
    assert canonical(parse(given, 1 << 16)) == bytes.fromhex(expected)


@pytest.mark.parametrize(("bits", "text"), NUMBERS)
def test_a_double_is_written_as_the_rfc_shows(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number) == text.encode()
