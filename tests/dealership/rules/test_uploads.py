import io
import zipfile

import pytest

from dealership.rules.uploads import ContentKind, content_kind


def zipped() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as box:
        box.writestr("sheet.xml", "<a/>")
    return held.getvalue()


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (zipped(), ContentKind.ZIPPED),
        (b"%PDF-1.7\n", ContentKind.PDF),
        # The header signature of [MS-CFB] 2.2.
        (bytes.fromhex("D0CF11E0A1B11AE1") + bytes(8), ContentKind.COMPOUND),
        ("VIN;Name\nX;Müller".encode("cp1252"), ContentKind.TEXT),
        ("VIN;Name".encode("utf-16"), ContentKind.TEXT),
        (b"\x7fELF\x02\x01\x01\x00", ContentKind.BINARY),
    ],
    ids=["zip", "pdf", "compound", "windows", "utf-16", "program"],
)
def test_kind_is_told_from_the_first_bytes(head, kind):
    assert content_kind(head) is kind
