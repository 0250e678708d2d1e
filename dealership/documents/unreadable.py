"""Why a list that somebody handed in cannot be read: one refusal for each cause."""

from dealership.rules.refusals import Refusal


class UnreadableList(Refusal):
    """The file cannot be taken in as a list; nothing of it was kept."""


class WrongFileType(UnreadableList):
    """The content is no list, whatever the file's name says."""

    def __init__(self, filename: str, found: str) -> None:
        super().__init__(
            f"“{filename}” is {found}, not a list. Save the list as CSV or as an Excel"
            " or OpenDocument spreadsheet and choose that file."
        )
        self.filename = filename
        self.found = found


class EmptyFile(UnreadableList):
    """There is not one filled cell."""

    def __init__(self, filename: str) -> None:
        super().__init__(
            f"“{filename}” is empty. Save the list again and choose the new file."
        )
        self.filename = filename


class HeaderOnly(UnreadableList):
    """There are headers but no rows."""

    def __init__(self, filename: str, row: int) -> None:
        super().__init__(
            f"“{filename}” has headers in row {row} and no row below them. Save the list"
            " with its rows and choose the new file."
        )
        self.filename = filename
        self.row = row


class TooManyColumns(UnreadableList):
    """A row has more columns than any list of this trade."""

    def __init__(self, filename: str, row: int, columns: int, limit: int) -> None:
        super().__init__(
            f"Row {row} of “{filename}” has {columns} columns; at most {limit} can be"
            " read. Delete the columns that are not needed."
        )
        self.filename = filename
        self.row = row
        self.columns = columns
        self.limit = limit


class TooManyRows(UnreadableList):
    """The list goes on after the last row that is taken."""

    def __init__(self, filename: str, limit: int) -> None:
        super().__init__(
            f"“{filename}” has more than {limit} rows. Split it into smaller files and"
            " send them one by one."
        )
        self.filename = filename
        self.limit = limit


class CellTooLong(UnreadableList):
    """One cell holds more than any spreadsheet cell can hold."""

    def __init__(self, filename: str, row: int, column: str, limit: int) -> None:
        where = f"row {row}, column {column}" if column else f"row {row}"
        super().__init__(
            f"The cell in {where} of “{filename}” is longer than {limit} characters."
            " Shorten it; in a CSV file a closing quotation mark may be missing."
        )
        self.filename = filename
        self.row = row
        self.column = column
        self.limit = limit


class UnpacksTooLarge(UnreadableList):
    """A compressed file would grow beyond all measure."""

    def __init__(self, filename: str, limit_bytes: int) -> None:
        super().__init__(
            f"Unpacked, “{filename}” is larger than {limit_bytes // 2**20} MB. Save the"
            " list as CSV, or in smaller files."
        )
        self.filename = filename
        self.limit_bytes = limit_bytes


class EncryptedWorkbook(UnreadableList):
    """The workbook asks for a password."""

    def __init__(self, filename: str) -> None:
        super().__init__(
            f"“{filename}” is locked with a password. Save it without one and choose"
            " the new file."
        )
        self.filename = filename


class CorruptedFile(UnreadableList):
    """The file is damaged."""

    def __init__(self, filename: str) -> None:
        super().__init__(
            f"“{filename}” is damaged and cannot be read. Open it in the program it comes"
            " from, save it again and choose the new file."
        )
        self.filename = filename


class NoSuchSheet(UnreadableList):
    """The workbook has no sheet of that name."""

    def __init__(self, filename: str, sheet: str, known: tuple[str, ...]) -> None:
        super().__init__(
            f"“{filename}” has no sheet “{sheet}”. It has: {', '.join(known)}."
        )
        self.filename = filename
        self.sheet = sheet
        self.known = known


class NoSuchRow(UnreadableList):
    """The row said to hold the headers is not there."""

    def __init__(self, filename: str, row: int) -> None:
        super().__init__(
            f"Row {row} of “{filename}” holds no headers. Choose a filled row among the"
            " first rows."
        )
        self.filename = filename
        self.row = row
