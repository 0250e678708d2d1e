"""Encoding and separator of a text file, told from its bytes.

Byte order marks: the Unicode Standard, 23.8 (from memory). Windows-1252 has no
characters at 81, 8D, 8F, 90 and 9D.
"""

import io

import pytest

from dealership.documents.plaintext import (
    Encoding,
    choose_delimiter,
    choose_encoding,
    first_lines,
    foreign_content,
)


def opened(content):
    return lambda: io.BytesIO(content)


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (b"VIN,Owner\n", Encoding("utf-8", certain=True)),
        ("VIN,Núñez\n".encode(), Encoding("utf-8", certain=True)),
        ("VIN,Núñez\n".encode("utf-8-sig"), Encoding("utf-8-sig", certain=True)),
        ("VIN,Núñez\n".encode("utf-16"), Encoding("utf-16", certain=True)),
        ("VIN,Owner\n".encode("utf-16-le"), Encoding("utf-16-le", certain=True)),
        ("VIN,Owner\n".encode("utf-16-be"), Encoding("utf-16-be", certain=True)),
        (b"VIN,N\x81\n", Encoding("latin-1", certain=False)),
    ],
)
def test_an_encoding_is_chosen(content, encoding):
    assert choose_encoding(opened(content)) == encoding


def test_what_is_no_utf_8_is_windows_1252():
    content = "Straße;Größe;Müller\nJosé Núñez;Café;Français\n".encode("cp1252") * 20

    assert choose_encoding(opened(content)).name == "cp1252"


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("a,b,c\n1,2,3\n", ","),
        ("a;b;c\n1,5;2,5;3,5\n", ";"),
        ("a\tb\n1, 2\t3, 4\n", "\t"),
        ("a|b\n1|2\n", "|"),
        ("VIN\n1U0\n", ","),
        ("", ","),
    ],
)
def test_a_separator_is_what_most_lines_agree_about(text, delimiter):
    assert choose_delimiter(text) == delimiter


@pytest.mark.parametrize(
    ("head", "found"),
    [
        (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
        (b"\xff\xd8\xff\xe0", "a picture (JPEG)"),
        (b"\x1f\x8b\x08", "a compressed file (gzip)"),
        (b"  <!DOCTYPE html>", "a web page"),
        (b"\xef\xbb\xbf<?xml", "an XML file"),
        (b'{"vin": 1}', "a JSON file"),
        (bytes(range(1, 9)) * 10, "a binary file"),
        (b"VIN,Owner\n", ""),
        ("VIN,Owner\n".encode("utf-16"), ""),
    ],
)
def test_what_is_no_list_is_named(head, found):
    assert foreign_content(head) == found


def test_first_lines_end_with_a_whole_line():
    content = b"VIN,Owner\r\n" * 7_000  # more than is looked at

    text = first_lines(opened(content), "utf-8")

    assert text == "VIN,Owner\r\n" * 100
