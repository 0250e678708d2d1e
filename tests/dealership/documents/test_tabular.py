import csv
import datetime as dt
import io
import struct
import tracemalloc
import zipfile
from contextlib import suppress
from types import SimpleNamespace

import openpyxl
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from dealership.documents.headers import Row, column_letters
from dealership.documents.tabular import (
    FAULT_HEADERS,
    Limits,
    defuse,
    open_table,
    restore,
    write_refused,
)
from dealership.documents.unreadable import (
    CellTooLong,
    CorruptedFile,
    EmptyFile,
    EncryptedWorkbook,
    HeaderOnly,
    NoSuchRow,
    NoSuchSheet,
    TooManyColumns,
    TooManyRows,
    UnpacksTooLarge,
    UnreadableList,
    WrongFileType,
)


VIN, OTHER = "1J9RP1A36A1644345", "1J9RP1A0XA1644001"
LINES = [["VIN", "Owner", "City"], [VIN, "Núñez", "Köln"], [OTHER, "O'Hara", "Cádiz"]]


def read(content, **options):
    table = open_table(content, "list", **options)
    return table, [(row.number, list(row.cells)) for row in table.rows()]


def text(delimiter, lines=LINES, end="\r\n"):
    target = io.StringIO(newline="")
    csv.writer(target, delimiter=delimiter, lineterminator=end).writerows(lines)
    return target.getvalue()


def workbook(*rows, title="Roll", **sheets):
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for name, state in sheets.items():
        book.create_sheet(name).sheet_state = state
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize(
    ("python", "told"),
    [
        ("utf-8", "utf-8"), ("utf-8-sig", "utf-8-sig"), ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16-le"), ("utf-16-be", "utf-16-be"), ("cp1252", "cp1252"),
    ],
)  # fmt: skip
def test_each_encoding_and_separator_is_found(python, told, delimiter, end):
    table, rows = read(text(delimiter, end=end).encode(python))
    assert (table.encoding, table.delimiter) == (told, delimiter)
    assert (table.header_row, table.columns) == (1, ("VIN", "Owner", "City"))
    assert rows == [(2, LINES[1]), (3, LINES[2])]


def test_windows_1252_signs_come_out_right():
    # Windows-1252 puts the euro sign at 0x80 and curly quotes at 0x91 to 0x94
    # (the Unicode consortium's mapping table CP1252.TXT).
    content = b"VIN;Owner\r\n" + VIN.encode() + b";\x93Ana\x94 \x80 Mu\xdfe \x8e\r\n"
    table, rows = read(content)
    assert (table.encoding, rows[0][1][1]) == ("cp1252", "“Ana” € Muße Ž")
    assert table.notes == ()


def test_a_byte_after_the_first_megabyte_still_counts():
    content = b"VIN,Owner\n" + f"{VIN},Ana\n".encode() * 60_000 + b"x,Nu\xf1ez\n"
    table = open_table(content, "list")
    assert table.encoding == "cp1252"
    assert list(table.rows())[-1].cells == ("x", "Nuñez")


def test_bytes_that_windows_1252_lacks_are_told():
    table, _ = read(b"VIN,Owner\n" + VIN.encode() + b",\x81\xe9\n")
    assert table.encoding == "latin-1"
    assert table.notes[0].startswith("The letters were read as latin-1.")


def test_the_separator_line_of_spreadsheet_programs_is_no_row():
    table, rows = read(b"sep=|\r\nVIN|Owner\r\nx1|a,b\r\n")
    assert (table.delimiter, table.header_row) == ("|", 1)
    assert rows == [(2, ["x1", "a,b"])]


def test_decimal_commas_do_not_win_over_semicolons():
    table, _ = read(b"VIN;Miles;Price\nA1;1,5;2,5\nB2;3,5;4,5\n")
    assert table.delimiter == ";"


def test_a_list_of_one_column_has_its_title_above():
    content = f"Roll of March\nVIN\n{VIN}\n{OTHER}\n".encode()
    table, rows = read(content)
    assert (table.header_row, table.columns) == (2, ("VIN",))
    assert rows == [(3, [VIN]), (4, [OTHER])]


def test_without_headers_the_columns_have_letters():
    table, rows = read(f"{VIN},Ana,2026\n{OTHER},Bo,2025\n".encode())
    assert (table.header_row, table.columns) == (
        0,
        ("Column A", "Column B", "Column C"),
    )
    assert table.notes == (
        "No row looks like headers; the columns are named by letters.",
    )
    assert [number for number, _ in rows] == [1, 2]


TITLED = [
    ["Northgate store: all vehicles"],
    [],
    ["made on", "2026-11-01"],
    ["VIN", "Year", "Owner", "City", "ZIP"],
    [VIN, "2010", "Ana", "Cádiz", "02108"],
    ["", "", " ", "", ""],
    [OTHER, "2010", "line one\nline two", "Köln", "62701"],
]


def test_headers_are_found_under_titles_and_rows_keep_their_numbers():
    table, rows = read(text(",", TITLED).encode())
    assert (table.header_row, table.columns) == (
        4,
        ("VIN", "Year", "Owner", "City", "ZIP"),
    )
    assert rows == [(5, TITLED[4]), (7, TITLED[6])]
    assert "The rows above row 4 are titles and were left out." in table.notes


def test_a_person_may_choose_another_header_row():
    table, rows = read(text(",", TITLED).encode(), header_row=1)
    assert table.header_row == 1
    assert table.columns[:2] == ("Northgate store: all vehicles", "Column B")
    assert rows[0][0] == 3
    with pytest.raises(NoSuchRow, match="Row 2 of “list” holds no headers"):
        read(text(",", TITLED).encode(), header_row=2)
    table, rows = read(text(",", LINES).encode(), header_row=0)
    assert (len(rows), table.header_row) == (3, 0)


def test_headers_that_occur_twice_are_renamed_and_told():
    table, _ = read(b"VIN,Phone,phone,,Phone\nx1,1,2,3,4\n")
    assert table.columns == ("VIN", "Phone", "phone (2)", "Column D", "Phone (3)")
    assert table.notes == (
        "Columns without a header: D.",
        (
            "Headers that occur twice were renamed: C is now “phone (2)”; E is now"
            " “Phone (3)”."
        ),
    )


def test_short_rows_are_filled_and_surplus_cells_are_kept():
    _, rows = read(b"VIN,Owner,City\nx1,Ana\nx2,Bo,Ayr\nx3,Cy,Ayr,surplus\n")
    assert [cells for _, cells in rows] == [
        ["x1", "Ana", ""],
        ["x2", "Bo", "Ayr"],
        ["x3", "Cy", "Ayr", "surplus"],
    ]


def test_rows_may_be_read_again():
    table, rows = read(text(",").encode())
    assert [(row.number, list(row.cells)) for row in table.rows()] == rows


def test_spreadsheet_cells_become_text():
    content = workbook(
        ["VIN", "Year", "ZIP", "Built", "Seen", "Share", "New", "Big"],
        [VIN, 2010, "02108", dt.date(2010, 3, 9), dt.datetime(2026, 3, 9, 14, 5),
         0.25, True, 11111111111111111],
    )  # fmt: skip
    table, rows = read(content)
    assert (table.kind, table.sheet, table.header_row) == ("spreadsheet", "Roll", 1)
    assert rows == [
        (2, [VIN, "2010", "02108", "2010-03-09", "2026-03-09 14:05:00", "0.25", "TRUE",
             "1.11111111111111e+16"])
    ]  # fmt: skip


def test_a_list_that_begins_further_in_keeps_its_row_numbers():
    book = openpyxl.Workbook()
    for column, (header, value) in enumerate([("VIN", VIN), ("Owner", "Ana")], start=3):
        book.active.cell(4, column, header)
        book.active.cell(6, column, value)
    book.active.cell(6, 5, "surplus")
    target = io.BytesIO()
    book.save(target)
    table, rows = read(target.getvalue())
    assert (table.header_row, table.columns) == (4, ("VIN", "Owner", "Column E"))
    assert rows == [(6, [VIN, "Ana", "surplus"])]


def test_the_first_visible_sheet_with_rows_is_read_and_the_others_told():
    content = workbook(*LINES, Notes="visible", Old="hidden")
    table, _ = read(content)
    assert (table.sheet, table.sheets) == ("Roll", ("Roll", "Notes", "Old"))
    assert table.notes == ("Sheet “Roll” was read. Not read: Notes, Old.",)
    with pytest.raises(
        NoSuchSheet, match=r"no sheet “March”\. It has: Roll, Notes, Old"
    ):
        read(content, sheet="March")
    with pytest.raises(EmptyFile):
        read(content, sheet="Notes")


def test_a_formula_without_a_result_is_an_empty_cell():
    _, rows = read(workbook(["VIN", "Sum", "City"], [VIN, "=1+1", "Ayr"]))
    assert rows == [(2, [VIN, "", "Ayr"])]


def ods(rows, repeated=None):
    # OpenDocument 1.3 part 3, 9.1: the smallest spreadsheet; part 2, 3.3: mimetype.
    cells = "".join(
        "<table:table-row>"
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p>'
            "</table:table-cell>"
            for cell in row
        )
        + "</table:table-row>"
        for row in rows
    )
    if repeated:
        count, width, value = repeated
        cells += (
            f'<table:table-row table:number-rows-repeated="{count}">'
            f'<table:table-cell table:number-columns-repeated="{width}"'
        )
        filled = (
            f' office:value-type="string"><text:p>{value}</text:p></table:table-cell>'
        )
        cells += f"{filled if value else '/>'}</table:table-row>"
    space = "urn:oasis:names:tc:opendocument:xmlns:"
    content = (
        f'<?xml version="1.0"?><office:document-content xmlns:office="{space}office:1.0"'
        f' xmlns:table="{space}table:1.0" xmlns:text="{space}text:1.0">'
        f"<office:body><office:spreadsheet><table:table table:name='Roll'>{cells}"
        "</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        f'<manifest:manifest xmlns:manifest="{space}manifest:1.0"><manifest:file-entry'
        ' manifest:full-path="/" manifest:media-type='
        '"application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>'
    )
    return zipped(
        {
            "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
            "content.xml": content,
            "META-INF/manifest.xml": manifest,
        }
    )


def zipped(parts):
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return target.getvalue()


def compound(*streams):
    # [MS-CFB] 2.2: the signature; 2.6.1: names of streams in UTF-16.
    names = b"".join(name.encode("utf-16-le") + b"\0\0" for name in streams)
    head = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + struct.pack("<H", 0x3E)
    return (head + names).ljust(4096, b"\0")


def test_an_opendocument_sheet_is_read():
    table, rows = read(ods(LINES))
    assert (table.sheet, rows) == ("Roll", [(2, LINES[1]), (3, LINES[2])])


@pytest.mark.parametrize(
    ("content", "found"),
    [
        # signatures: ISO 32000-1 7.5.2, ISO 15948 5.2, ITU-T T.81 B.1, RFC 1952 2.3.1
        (b"%PDF-1.7\n%\xe2\xe3", "a PDF document"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture (PNG)"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "a picture (JPEG)"),
        (b"\x1f\x8b\x08\0\0\0", "a compressed file (gzip)"),
        (b"<!DOCTYPE html><table><tr><td>VIN", "a web page"),
        (b"\xef\xbb\xbf <html>", "a web page"),
        (b'<?xml version="1.0"?><a/>', "an XML file"),
        (b'[{"vin": 1}]', "a JSON file"),
        (b"{\\rtf1 VIN}", "a text document (RTF)"),
        (bytes(range(256)) * 9, "a binary file"),
        (b"\x7fELF\x02\x01\x01" + b"\0" * 99, "a binary file"),
        (zipped({"word/document.xml": "<w/>"}), "a text document (Word)"),
        (zipped({"ppt/presentation.xml": "<p/>"}), "a presentation"),
        (zipped({"notes.txt": "hello"}), "a ZIP archive"),
        (
            zipped({"mimetype": "application/vnd.oasis.opendocument.text"}),
            "a text document (OpenDocument)",
        ),
        (compound("WordDocument"), "a text document (Word)"),
        (compound("Something"), "a binary file"),
    ],
)
def test_what_is_no_list_is_refused_by_what_it_is(content, found):
    with pytest.raises(WrongFileType) as refusal:
        open_table(content, "list.csv")
    assert refusal.value.found == found
    assert refusal.value.sentence.startswith(f"“list.csv” is {found}, not a list.")


@pytest.mark.parametrize("content", [b"", b" \r\n\t", b"\xef\xbb\xbf", b",,\r\n,,\r\n"])
def test_an_empty_file_is_refused(content):
    with pytest.raises(EmptyFile, match="“list” is empty"):
        open_table(content, "list")
    with pytest.raises(EmptyFile):
        open_table(workbook(), "list")


def test_headers_alone_are_refused():
    with pytest.raises(HeaderOnly, match="headers in row 1 and no row below"):
        open_table(b"VIN,Owner\r\n,,\r\n", "list")
    with pytest.raises(HeaderOnly):
        open_table(workbook(["VIN", "Owner"]), "list")


def test_150_columns_are_read_and_200_refused():
    def wide(columns):
        row = ",".join(f"h{n}x" for n in range(columns))
        return f"{row}\n{row}\n".encode()

    assert len(open_table(wide(150), "list").columns) == 150
    with pytest.raises(TooManyColumns, match="Row 1 of “list” has 200 columns"):
        open_table(wide(200), "list")


@pytest.mark.parametrize("filled", [32_768, 1_000_000])
def test_a_cell_too_long_is_told_by_row_and_column(filled):
    content = b"VIN,Owner\nx1,Ana\nx2," + b"a" * filled + b"\n"
    with pytest.raises(
        CellTooLong, match="row 3, column B of “list” is longer than 32767"
    ):
        open_table(content, "list")


def test_a_cell_of_32767_characters_is_read():
    # the most that a cell of an .xlsx file can hold (the spreadsheet program's published limit)
    _, rows = read(b"VIN,Owner\nx1," + b"a" * 32_767 + b"\n")
    assert len(rows[0][1][1]) == 32_767


def test_zero_bytes_are_left_out():
    # PostgreSQL keeps no text with a zero byte (its manual, "Character Types")
    _, rows = read(b"VIN,Owner\nx1,An\0a\n\0x2,Bo" + b"b" * 80 + b"\n")
    assert rows == [(2, ["x1", "Ana"]), (3, ["x2", "Bo" + "b" * 80])]


def test_a_quotation_mark_that_never_closes_is_told():
    content = b'VIN,Owner\nx1,"Ana\n' + b"x2,Bo\n" * 800_000
    with pytest.raises(
        CellTooLong, match="a closing quotation mark may be missing"
    ) as told:
        open_table(content, "list")
    assert told.value.row == 2


def test_a_fault_far_down_comes_when_it_is_reached():
    content = b"VIN,Owner\n" + b"x1,Ana\n" * 300 + b"x2," + b"a" * 40_000 + b"\n"
    table = open_table(content, "list")
    with pytest.raises(CellTooLong) as refusal:
        list(table.rows())
    assert (refusal.value.row, refusal.value.column) == (302, "B")


def test_more_rows_than_the_limit_are_refused():
    content = b"VIN,Owner\n" + b"x1,Ana\n" * 4
    table = open_table(content, "list", limits=Limits(rows=4))
    assert len(list(table.rows())) == 4
    with pytest.raises(TooManyRows, match="more than 3 rows"):
        list(open_table(content, "list", limits=Limits(rows=3)).rows())


def test_a_bomb_is_refused_before_it_goes_off():
    content = workbook(*LINES)
    target = io.BytesIO(content)
    with zipfile.ZipFile(target, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/filling.xml", bytes(30_000_000))
    bomb = target.getvalue()
    assert len(bomb) < 60_000
    with pytest.raises(UnpacksTooLarge, match="larger than 19 MB"):
        open_table(bomb, "list", limits=Limits(unpacked_bytes=20_000_000))


def test_cells_too_far_apart_are_refused_before_memory_runs_out():
    book = openpyxl.Workbook()
    book.active.cell(1, 1, "VIN")
    book.active.cell(1_048_576, 16_384, "far")
    target = io.BytesIO()
    book.save(target)
    with pytest.raises(UnpacksTooLarge):
        open_table(target.getvalue(), "list")


@pytest.mark.parametrize(
    ("rows", "columns"), [(1_000, 16_384), (1_048_576, 100), (1_048_576, 16_384)]
)
def test_one_opendocument_cell_that_stands_for_millions_is_refused(rows, columns):
    # OpenDocument 1.3 part 3, 9.1.3 and 9.1.4: rows and columns repeated
    with pytest.raises(UnpacksTooLarge):
        open_table(ods(LINES, repeated=(rows, columns, "a")), "list")


def test_empty_opendocument_cells_to_the_edge_of_the_sheet_are_no_matter():
    _, rows = read(ods(LINES, repeated=(1_048_576, 16_384, "")))
    assert rows == [(2, LINES[1]), (3, LINES[2])]


@pytest.mark.parametrize(
    "content",
    [
        compound("EncryptedPackage", "EncryptionInfo"),
        zipped(
            {
                "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
                "META-INF/manifest.xml": "<manifest:encryption-data/>",
            }
        ),
    ],
    ids=["MS-OFFCRYPTO 2.3.4.4", "OpenDocument 1.3 part 2, 4.4"],
)
def test_a_locked_workbook_is_refused(content):
    with pytest.raises(EncryptedWorkbook, match="locked with a password"):
        open_table(content, "list")


@pytest.mark.parametrize("cut", [60, 900, 3_000])
def test_a_workbook_cut_short_is_damaged(cut):
    with pytest.raises(CorruptedFile, match="is damaged"):
        open_table(workbook(*LINES)[:cut], "list")


def test_damaged_parts_are_refused():
    with pytest.raises(CorruptedFile):
        open_table(zipped({"xl/workbook.xml": "<workbook"}), "list")
    with pytest.raises(CorruptedFile):
        open_table(compound("Workbook"), "list")
    content = bytearray(workbook(*LINES))
    middle = len(content) // 3
    content[middle : middle + 40] = bytes(40)
    with pytest.raises(CorruptedFile):
        open_table(bytes(content), "list")


@settings(max_examples=60)
@given(st.binary(max_size=400))
def test_no_bytes_break_it(content):
    with suppress(UnreadableList):
        rows = list(open_table(content, "list").rows())
        assert all(any(map(str.strip, row.cells)) for row in rows)


def test_a_hundred_thousand_rows_are_streamed(tmp_path):
    path = tmp_path / "list.csv"
    with path.open("w", encoding="cp1252") as target:
        target.write("VIN;Owner;Street;City\n")
        for number in range(100_000):
            target.write(f"1J9RP1A00A1{number:06d};Núñez;{number} Elm Row;Köln\n")
    tracemalloc.start()
    table = open_table(path, "list.csv")
    rows = sum(1 for _ in table.rows())
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert rows == 100_000
    assert peak < 12_000_000


def test_a_workbook_of_another_writer_is_read(tmp_path):
    path = tmp_path / "list.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Roll")
        for number, row in enumerate(LINES):
            sheet.write_row(number, 0, row)
    _, rows = read(path)
    assert rows == [(2, LINES[1]), (3, LINES[2])]


@pytest.mark.parametrize(
    ("column", "letters"),
    [(0, "A"), (25, "Z"), (26, "AA"), (149, "ET"), (16_383, "XFD")],
)
def test_columns_have_a_spreadsheets_letters(column, letters):
    assert column_letters(column) == letters


def fault(column, sentence):
    return SimpleNamespace(column=column, sentence=sentence)


def test_refused_rows_go_out_with_what_is_wrong():
    rows = [Row(7, ("x1", "=cmd()")), Row(9, ("x2", "Ana"))]
    faults = {7: [fault("VIN", "Too short."), fault("", "The row is odd.")]}
    content = write_refused(["VIN", "Owner"], rows, faults)
    assert content.startswith(b"\xef\xbb\xbf")
    lines = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    assert lines == [
        ["VIN", "Owner", *FAULT_HEADERS],
        ["x1", "'=cmd()", "7", "VIN", "VIN: Too short. The row is odd."],
        ["x2", "Ana", "9", "", ""],
    ]
    # refused once more, the old notes do not pile up
    table, again = read(content)
    assert again[0][1][:2] == ["x1", "=cmd()"]
    second = write_refused(table.columns, [Row(n, tuple(c)) for n, c in again], {})
    assert second.decode("utf-8-sig").splitlines()[0] == "VIN,Owner," + ",".join(
        FAULT_HEADERS
    )


@pytest.mark.parametrize("first", "=+-@\t\r")
def test_what_a_spreadsheet_would_run_is_defused(first):
    assert defuse(f"{first}1") == f"'{first}1"
    assert restore(f"'{first}1") == f"{first}1"
    assert restore(defuse(f"''{first}1")) == f"''{first}1"


def test_a_plain_apostrophe_stays():
    assert (defuse("'s Hof"), restore("'s Hof")) == ("'s Hof", "'s Hof")


cells = st.text(
    st.sampled_from("=+-@\t\r\n'\",; aé€1")
    | st.characters(codec="utf-8", exclude_characters="\0"),
    max_size=6,
)


@given(cells)
def test_no_cell_goes_out_dangerous_and_each_comes_back(cell):
    out = defuse(cell)
    assert not out.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert restore(out) == cell


@given(st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=6))
def test_refused_rows_read_back_as_they_were(raw):
    rows = [Row(number, row) for number, row in enumerate(raw, start=2)]
    content = write_refused(["VIN", "Owner", "City"], rows, {})
    back = list(open_table(content, "list", header_row=1).rows())
    assert [row.cells[:3] for row in back] == raw
