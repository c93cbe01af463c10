"""A plan's lists as one workbook (XLSX, ECMA-376), the same bytes for the same plan."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time

from nester.core.lengths import printable

__all__ = ["workbook_bytes"]

_LONGEST_CELL = 32_767
"""No spreadsheet takes more signs in a cell (from memory)."""
_ZIP_TIMESTAMP = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a zip can hold; it is written for every part."""
_WIDEST = 60


def workbook_bytes(
    lists: Mapping[str, tuple[Sequence[str], Iterable[Sequence[object]]]], made_on: date
) -> bytes:
    """Return a workbook of one sheet for each list.

    Parameters
    ----------
    lists
        By name, the titles of the columns and the rows.  Numbers stay numbers; all else is text,
        and no text becomes a formula.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook(write_only=True)
    book.properties.created = book.properties.modified = datetime.combine(made_on, time())
    book.properties.creator = "Quirebox"
    for name, (columns, rows) in lists.items():
        sheet = book.create_sheet(name)
        texts = [[_cell_value(cell) for cell in row] for row in rows]
        for number, column in enumerate(columns):
            longest = max((len(str(row[number])) for row in texts), default=0)
            width = min(_WIDEST, max(len(column), longest) + 2)
            sheet.column_dimensions[get_column_letter(number + 1)].width = width
        sheet.freeze_panes = "A2"
        head = []
        for column in columns:
            cell = WriteOnlyCell(sheet, column)
            cell.font = Font(bold=True)
            head.append(cell)
        sheet.append(head)
        for row in texts:
            cells = []
            for value in row:
                cell = WriteOnlyCell(sheet, value)
                if isinstance(value, str):
                    cell.data_type = "s"
                cells.append(cell)
            sheet.append(cells)
    raw = io.BytesIO()
    book.save(raw)
    return _without_clock(raw)


def _cell_value(value: object) -> object:
    if isinstance(value, int | float):
        return value
    return printable(str(value))[:_LONGEST_CELL]


def _without_clock(raw: io.BytesIO) -> bytes:
    """Write a zip again without a time, and no time of saving in its properties."""
    made = io.BytesIO()
    with zipfile.ZipFile(raw) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        created = b""
        for info in sorted(old.infolist(), key=lambda entry: entry.filename):
            data = old.read(info)
            if info.filename == "docProps/core.xml":
                found = re.search(rb"<dcterms:created[^>]*>([^<]*)<", data)
                created = found[1] if found else created
                data = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + created, data)
            fresh = zipfile.ZipInfo(info.filename, _ZIP_TIMESTAMP)
            fresh.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(fresh, data)
    return made.getvalue()
