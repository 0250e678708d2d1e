"""Pages as pictures."""

import struct

from dealership.documents.pdf import lay_out
from dealership.documents.raster import page_pictures


def size_of(picture):
    """Read width and height from a PNG's first chunk (ISO/IEC 15948, 11.2.2)."""
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    return struct.unpack(">II", picture[16:24])


def test_the_first_pages_are_drawn_in_their_size():
    pages = "".join(f"<p style='break-after: page'>{n}</p>" for n in range(4))
    laid = lay_out(f"<html><body>{pages}</body></html>", page="letter")

    drawn = page_pictures(laid.pdf, dots_an_inch=50, most=2)

    assert [size_of(one) for one in drawn] == [(425, 550)] * 2
