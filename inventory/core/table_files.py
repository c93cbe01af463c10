"""Plain lists: CSV files with a line of column names, as people and spreadsheets write them.

Read are UTF-8 files, with or without a byte-order mark, with any line ends, separated by commas,
semicolons or tabs; and of a workbook in Office Open XML (``.xlsx``) the first sheet.  Whatever is
wrong is refused in one sentence that names file, line and field.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from difflib import get_close_matches
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, NoReturn, TypeVar

from inventory.core.money import parse_money
from inventory.core.text import clean_name, fold, shorten
from inventory.core.zip_files import open_zip
from nester.core.errors import Refusal
from nester.core.lengths import Length, Unit, parse_length

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date
    from pathlib import Path
    from zipfile import ZipFile, ZipInfo

    from nester.core.lengths import Unit

__all__ = [
    "LARGEST_COUNT",
    "TableRow",
    "check_count",
    "join_choices",
    "read_date",
    "read_list",
    "refuse_duplicates",
]

LARGEST_COUNT = 1_000_000
_LARGEST_FILE = 20_000_000
_MOST_LINES = 200_000
_MOST_COLUMNS = 200
_BYTE_ORDER_MARK = "\ufeff"
"""The byte-order mark, which shows nowhere."""
_LARGEST_WORKBOOK = 50_000_000
"""Bytes, unpacked; of what is no sheet (its texts, its styles) a tenth of it."""
_LARGEST_ROW = 1_000_000
"""Bytes of a workbook's row, as the library keeps a row's cells together."""
_NO_VALUE = "\0formula"
"""Stands for a formula's cell in which no value is stored; no cell holds this character."""
_SHEET_TAG = re.compile(rb"<(?:\w+:)?(?:(row)|(f))[\s/>]")
_ERROR_VALUES = frozenset({
    "#REF!", "#N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#SPILL!", "#CALC!",
    "#GETTING_DATA",
})  # fmt: skip
"""What spreadsheets write where a formula has failed (ECMA-376, part 1, 18.17.3, and what newer
ones have added; from memory)."""
_LARGEST_FIELD = csv.field_size_limit()
_T = TypeVar("_T")


@dataclass(frozen=True)
class TableRow:
    """One line of a list."""

    file: str
    line: int
    fields: dict[str, str]

    def refuse(self, field: str, why: str) -> NoReturn:
        """Raise the refusal of a field."""
        raise Refusal(f"{self.file}, line {self.line}, {field}: {why}")

    def read(self, field: str, reader: Callable[[str], _T]) -> _T:
        """Return a field through a reader, whose refusal gets file, line and field put before."""
        try:
            return reader(self.text(field))
        except Refusal as refusal:
            raise refusal.at(f"{self.file}, line {self.line}, {field}") from None

    def text(self, field: str) -> str:
        """Return a field without outer blanks; empty if the list has no such column."""
        return self.fields.get(field, "")

    def name(self, field: str) -> str:
        """Return a field that must hold a name."""
        return self.read(field, lambda text: clean_name(text, f"the {field}"))

    def length(self, field: str, unit: Unit) -> Length:
        """Return a length; a bare number is in `unit`."""
        return self.read(field, lambda text: parse_length(text, unit))

    def count(self, field: str, least: int = 1) -> int:
        """Return a whole number."""
        return self.read(field, lambda text: check_count(text, least))

    def money(self, field: str) -> Decimal:
        """Return an amount of money."""
        return self.read(field, lambda text: parse_money(text, f"the {field}"))

    def choice(self, field: str, choices: Iterable[str], default: str) -> str:
        """Return one of a few words, `default` if the field is empty."""
        words = list(choices)
        word = self.text(field).casefold() or default
        if word not in words:
            self.refuse(field, f"'{shorten(self.text(field))}' must be {join_choices(words)}")
        return word


def join_choices(words: Sequence[str]) -> str:
    """Write ``a, b or c``."""
    return " or ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def check_count(text: str, least: int = 1) -> int:
    """Read a whole number of things, at least `least` and at most a million."""
    shown = text.strip()
    if not shown:
        raise Refusal("a whole number is missing")
    if not re.fullmatch(r"[+-]?[0-9]{1,18}", shown):
        raise Refusal(f"'{shorten(shown)}' is not a whole number")
    number = int(shown)
    if number < least:
        raise Refusal(f"{number} is too few; it must be at least {least}")
    if number > LARGEST_COUNT:
        raise Refusal(f"{number} is too many; at most {LARGEST_COUNT:,} can be counted")
    return number


def read_date(text: str) -> date:
    """Read a day written as ``2027-03-14`` (ISO 8601)."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Refusal(
            f"'{shorten(text.strip())}' is not a date; write it like 2027-03-14"
        ) from None


def read_list(
    path: Path,
    required: Sequence[str],
    optional: Sequence[str] = (),
    passed_over: Sequence[str] = (),
) -> list[TableRow]:
    """Read a list whole.

    Parameters
    ----------
    passed_over
        Columns that may be there and say nothing.  Any other is refused: what stands in it would
        be lost without a word.
    """
    lines = _read_workbook(path) if path.suffix.casefold() == ".xlsx" else _read_csv(path)
    try:
        header = next(lines)
    except StopIteration:
        raise Refusal(f"{path}: the file is empty; its first line must name the columns") from None
    columns = _columns(path, header, (required, optional, passed_over))
    kept = [(place, name) for place, name in enumerate(columns) if name and name not in passed_over]
    rows = []
    for line, fields in lines:
        if len(fields) > len(columns) and any(fields[len(columns) :]):
            raise Refusal(
                f"{path}, line {line}: {len(fields)} fields for {len(columns)} columns;"
                " put quotes around a field that holds the separator"
            )
        named = {name: fields[place] for place, name in kept if place < len(fields)}
        row = TableRow(str(path), line, named)
        for name, text in named.items():
            if text == _NO_VALUE:
                row.refuse(
                    name,
                    "this is a formula whose value the file does not hold; save the list once more"
                    " with the program that calculates it, or write the value itself",
                )
            if text in _ERROR_VALUES:
                row.refuse(name, f"the spreadsheet shows the error {text} here; mend it there")
        rows.append(row)
    if not rows:
        raise Refusal(f"{path}: there is no line below the column names")
    return rows


def _check_lines(path: Path, line: int) -> None:
    if line > _MOST_LINES:
        raise Refusal(
            f"{path}: more than {_MOST_LINES:,} lines, empty ones counted, are too many for a list"
        )


def _read_workbook(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines of a workbook's first sheet, each cell as a person would type it."""
    data = io.BytesIO(_read_bytes(path))
    try:
        yield from _lines_of_workbook(data, path)
    except Refusal:
        raise
    except Exception as why:  # whatever the library stumbles over in a damaged file
        raise Refusal(
            f"{path}: it can't be read as a workbook; save it as .xlsx or CSV UTF-8"
        ) from why


def _lines_of_workbook(data: io.BytesIO, path: Path) -> Iterator[tuple[int, list[str]]]:
    import warnings

    with open_zip(data, path, _LARGEST_WORKBOOK) as parts:
        formulas_in = [_look_through(parts, part, path) for part in parts.infolist()]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and charts, which say nothing here
        rows = _cells_of(data)
        formulas = _formulas_of(data) if any(formulas_in) else repeat(())
        for line, (cells, calculated) in enumerate(zip(rows, formulas, strict=False), start=1):
            _check_lines(path, line)
            if cells.count(None) == len(cells) and True not in calculated:
                continue
            fields = [_cell_text(cell) for cell in cells]
            for place, is_formula in enumerate(calculated):
                if is_formula and not fields[place]:
                    fields[place] = _NO_VALUE
            while fields and not fields[-1]:
                fields.pop()
            if fields:
                yield line, fields


def _look_through(parts: ZipFile, part: ZipInfo, path: Path) -> bool:
    """Refuse a part that would fill the memory; return whether formulas are in it."""
    if not part.filename.startswith("xl/worksheets/"):
        if part.file_size > _LARGEST_WORKBOOK // 10:
            raise Refusal(
                f"{path}: its texts or styles have more than {_LARGEST_WORKBOOK // 10 // 10**6} MB,"
                " which is too much for a list"
            )
        return False
    found, row, place, rest = False, 0, 0, b""
    with parts.open(part) as file:
        while block := file.read(1 << 20):
            start, text = place - len(rest), rest + block
            for tag in _SHEET_TAG.finditer(text):
                found = found or tag[2] is not None
                if tag[1] is not None:
                    _check_row(path, start + tag.start() - row)
                    row = start + tag.start()
            place += len(block)
            rest = text[-20:]
    _check_row(path, place - row)
    return found


def _check_row(path: Path, size: int) -> None:
    if size > _LARGEST_ROW:
        raise Refusal(
            f"{path}: a row of more than {_LARGEST_ROW // 10**6} MB is too much for a list"
        )


def _sheet(data: io.BytesIO, *, data_only: bool) -> Any:
    from openpyxl import load_workbook

    sheet = load_workbook(data, read_only=True, data_only=data_only).worksheets[0]
    sheet.reset_dimensions()  # else rows beyond those that the file says it has were lost
    return sheet


def _cells_of(data: io.BytesIO) -> Iterator[tuple[object, ...]]:
    sheet = _sheet(data, data_only=True)
    yield from sheet.iter_rows(values_only=True, max_col=_MOST_COLUMNS)


def _formulas_of(data: io.BytesIO) -> Iterator[tuple[bool, ...]]:
    """Yield for each row which of its cells are formulas, be their values stored or not."""
    for cells in _sheet(data, data_only=False).iter_rows(max_col=_MOST_COLUMNS):
        yield tuple(cell.data_type == "f" for cell in cells)


def _cell_text(cell: object) -> str:
    """Write a cell's value; a workbook keeps whole numbers as 5.0 and days as midnights."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, datetime) and cell.time() == time():
        return cell.date().isoformat()
    return str(cell).replace(_BYTE_ORDER_MARK, "").strip()


def _read_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_FILE + 1)
    except FileNotFoundError:
        raise Refusal(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise Refusal(f"{path}: this is a folder, not a list") from None
    except OSError as why:
        raise Refusal(f"{path}: it can't be read ({why.strerror or why})") from None
    if len(data) > _LARGEST_FILE:
        raise Refusal(f"{path}: more than {_LARGEST_FILE // 10**6} MB is too much for a list")
    return data


def _read_csv(path: Path) -> Iterator[tuple[int, list[str]]]:
    data = _read_bytes(path)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as why:
        line = _line_of(data, why.start)
        raise Refusal(f"{path}, line {line}: not UTF-8 text; save the list as CSV UTF-8") from None
    if b"\0" in data:
        line = _line_of(data, data.index(b"\0"))
        raise Refusal(f"{path}, line {line}: not plain text; save the list as CSV UTF-8")
    return _split(data, path)


def _line_of(data: bytes, place: int) -> int:
    return len((data[:place] + b".").splitlines())


def _text_lines(data: bytes) -> Iterator[str]:
    """Yield the lines, decoded one by one, without byte-order marks.

    Such a mark is also within where several files were put one after another.
    """
    for line in io.TextIOWrapper(io.BytesIO(data), "utf-8", newline=""):
        yield line.replace(_BYTE_ORDER_MARK, "")


def _split(data: bytes, path: Path) -> Iterator[tuple[int, list[str]]]:
    first = next((line for line in _text_lines(data) if line.strip()), "")
    separator = max(",;\t", key=first.count)
    reader = csv.reader(_text_lines(data), delimiter=separator, strict=True)
    while True:
        line = reader.line_num + 1
        _check_lines(path, reader.line_num)
        try:
            fields = next(reader)
        except StopIteration:
            return
        except csv.Error as why:
            if "field limit" in str(why):
                raise Refusal(
                    f"{path}, line {line}: a field of more than {_LARGEST_FIELD:,} characters is"
                    " none of a list; is a quote opened there and never closed?"
                ) from None
            raise Refusal(
                f"{path}, line {line}: its quotes don't match;"
                " each that opens a field must be closed before the next separator"
            ) from None
        fields = [field.strip() for field in fields]
        if any(fields):
            yield line, fields


_SPELLINGS = {"color": "colour"}


def _column_name(field: str) -> str:
    name = " ".join(field.split()).casefold()
    return _SPELLINGS.get(name, name)


def _columns(
    path: Path, header: tuple[int, list[str]], known: tuple[Sequence[str], ...]
) -> list[str]:
    line, fields = header
    names = [_column_name(field) for field in fields]
    while names and not names[-1]:
        names.pop()
    required, optional, passed_over = known
    for name, times in Counter(names).items():
        if name and times > 1:
            raise Refusal(f"{path}, line {line}: there are two columns '{shorten(name)}'; keep one")
    for name in required:
        if name not in names:
            raise Refusal(
                f"{path}, line {line}: the column '{name}' is missing;"
                f" there must be {', '.join(required)}"
            )
    for name in names:
        if name and name not in (*required, *optional, *passed_over):
            rest = [other for other in optional if other not in names]
            near = get_close_matches(name, rest, 1, 0.75)
            raise Refusal(
                f"{path}, line {line}: unknown column '{shorten(name)}'; "
                + (
                    f"is it '{near[0]}'?"
                    if near
                    else f"take it out, as only these are read: {', '.join((*required, *optional))}"
                )
            )
    return names


def refuse_duplicates(rows: Sequence[TableRow], field: str) -> None:
    """Refuse a list in which two lines have the same name."""
    seen: dict[str, int] = {}
    for row in rows:
        name = row.text(field)
        first = seen.setdefault(fold(name), row.line)
        if first != row.line:
            row.refuse(
                field, f"'{shorten(name)}' stands in line {first} already; names must differ"
            )


@dataclass(frozen=True)
class CheckedLine(Generic[_T]):
    """What a line asks for, read and checked, but not done yet.

    `field` is what to name should doing it be refused all the same.
    """

    row: TableRow
    field: str
    action: Callable[[], _T]

    def apply(self) -> _T:
        return self.row.read(self.field, lambda _: self.action())


def apply_lines(lines: Iterable[CheckedLine[_T]]) -> list[_T]:
    return [line.apply() for line in lines]
