"""What kind of file somebody handed in, told from its first bytes."""

from enum import StrEnum


class ContentKind(StrEnum):
    """What the first bytes say a file is."""

    TEXT = "text"
    ZIPPED = "zipped"  # xlsx, xlsb, ods: spreadsheets in a ZIP container
    COMPOUND = "compound"  # the older binary spreadsheets
    PDF = "pdf"
    BINARY = "binary"


# The signatures: PKWARE APPNOTE 4.3.7 and 4.3.16; [MS-CFB] 2.2; ISO 32000-1 7.5.2.
_SIGNATURES = (
    (b"PK\x03\x04", ContentKind.ZIPPED),
    (b"PK\x05\x06", ContentKind.ZIPPED),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", ContentKind.COMPOUND),
    (b"%PDF-", ContentKind.PDF),
)
_UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def content_kind(head: bytes) -> ContentKind:
    """Tell the kind of a file from its first bytes; a name proves nothing."""
    for signature, kind in _SIGNATURES:
        if head.startswith(signature):
            return kind
    if b"\x00" in head and not head.startswith(_UTF_16_MARKS):
        return ContentKind.BINARY
    return ContentKind.TEXT
