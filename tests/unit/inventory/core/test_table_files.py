import unicodedata
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.core import table_files
from inventory.core.table_files import (
    LARGEST_COUNT,
    check_count,
    join_choices,
    read_date,
    read_list,
    refuse_duplicates,
)
from nester.core.errors import Refusal
from nester.core.lengths import Unit, mm

REQUIRED = ("name", "width")
OPTIONAL = ("paper", "quantity")


@pytest.fixture
def write(tmp_path):
    def write(content):
        path = tmp_path / "list.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


@pytest.fixture
def refusal(write):
    """Returns what is said of a list's content, without its path."""

    def refusal(content):
        path = write(content)
        with pytest.raises(Refusal) as refused:
            read_list(path, REQUIRED, OPTIONAL)
        said = str(refused.value)
        assert said.startswith(str(path))
        assert said.isprintable()
        return said.removeprefix(str(path)).removeprefix(", ").removeprefix(": ")

    return refusal


@pytest.mark.parametrize(
    "content",
    [
        "name,width\nlid,5\nbox,7\n",
        "name,width\nlid,5\nbox,7",
        "\ufeffname,width\nlid,5\nbox,7\n",
        "name,width\r\nlid,5\r\nbox,7\r\n",
        "name,width\rlid,5\rbox,7\r",
        "name;width\nlid;5\nbox;7\n",
        "name\twidth\nlid\t5\nbox\t7\n",
        "\ufeff\r\n name ; WIDTH \r\n lid ;5 \r\n ; \r\n\r\nbox;7;;\r\n",
        "width,name\n5,lid\n7,box\n",
        "name,width,,\nlid,5,,\nbox,7,,\n",
        '"name","width"\n"lid","5"\n"box","7"\n',
    ],
)
def test_the_same_list_written_in_many_ways(write, content):
    rows = read_list(write(content), REQUIRED, OPTIONAL)
    assert [(row.text("name"), row.text("width")) for row in rows] == [("lid", "5"), ("box", "7")]


def test_a_decimal_comma_stands_between_semicolons(write):
    (row,) = read_list(write("name;width\nlid;18,5 cm\n"), REQUIRED)
    assert row.length("width", Unit.MM) == mm(185)


def test_an_inch_sign_needs_no_quotes(write):
    (row,) = read_list(write('name,width\nlid,1"\n'), REQUIRED)
    assert row.length("width", Unit.MM) == mm("25.4")


def test_an_unknown_column_is_not_lost_without_a_word(write, refusal):
    content = "name,width,preis,\nlid,5,1.20,\n"
    (row,) = read_list(write(content), REQUIRED, OPTIONAL, ("preis",))
    assert row.fields == {"name": "lid", "width": "5"}
    assert refusal(content) == (
        "line 1: unknown column 'preis'; take it out, as only these are read:"
        " name, width, paper, quantity"
    )


@pytest.mark.parametrize("value", ["#REF!", "#N/A", "#DIV/0!"])
def test_what_a_spreadsheet_shows_for_an_error_is_no_value(refusal, value):
    assert refusal(f"name,width\nlid,{value}\n") == (
        f"line 2, width: the spreadsheet shows the error {value} here; mend it there"
    )


def test_a_formula_without_its_value_is_refused(tmp_path: Path):
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(["name", "width", "price"])
    book.active.append(["lid", 5, 1])
    book.active.append(["box", 5, "=C2*2"])  # this library calculates nothing
    book.save(tmp_path / "list.xlsx")
    with pytest.raises(Refusal, match=r"line 3, price: this is a formula whose value the file"):
        read_list(tmp_path / "list.xlsx", REQUIRED, ("price",))
    book.active["C3"] = 2
    book.save(tmp_path / "list.xlsx")
    _, row = read_list(tmp_path / "list.xlsx", REQUIRED, ("price",))
    assert row.text("price") == "2"


def test_a_list_of_too_many_lines_is_refused(write):
    with pytest.raises(Refusal, match="more than 200,000 lines"):
        read_list(write("name,width\n" + 200_001 * "\n"), REQUIRED)


def test_short_lines_have_empty_fields(write):
    (row,) = read_list(write("name,width,paper\nlid,5\n"), REQUIRED, OPTIONAL)
    assert row.text("paper") == ""
    assert row.text("quantity") == ""


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_numbers_count_lines_of_the_file(write, end):
    lines = ["", "name,width", '"a', 'b",5', "", "c,7", "d,8"]
    rows = read_list(write(end.join(lines)), REQUIRED)
    assert [row.line for row in rows] == [3, 6, 7]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the file is empty; its first line must name the columns"),
        ("\ufeff", "the file is empty; its first line must name the columns"),
        (" \r\n;;\n", "the file is empty; its first line must name the columns"),
        ("name,width\n", "there is no line below the column names"),
        ("name,width\n\n,\n", "there is no line below the column names"),
        ("name\nlid\n", "line 1: the column 'width' is missing; there must be name, width"),
        (
            "name,widht\nlid,5\n",
            "line 1: the column 'width' is missing; there must be name, width",
        ),
        ("name,width,Width\nlid,5,5\n", "line 1: there are two columns 'width'; keep one"),
        (
            "name,width,papre\nlid,5,red\n",
            "line 1: unknown column 'papre'; is it 'paper'?",
        ),
        (
            "name,width\nlid,5\nbox,7,5\n",
            "line 3: 3 fields for 2 columns; put quotes around a field that holds the separator",
        ),
        (b"name,width\nlid,5\nb\xf6x,7\n", "line 3: not UTF-8 text; save the list as CSV UTF-8"),
        (b"name,width\rlid,5\rb\xf6x,7\r", "line 3: not UTF-8 text; save the list as CSV UTF-8"),
        (b"\xff\xfen\0,\0w\0", "line 1: not UTF-8 text; save the list as CSV UTF-8"),
        (b"name,width\r\nlid,\x005\r\n", "line 2: not plain text; save the list as CSV UTF-8"),
    ],
)  # fmt: skip
def test_refused(refusal, content, said):
    assert refusal(content) == said


@pytest.mark.parametrize("content", ['name,width\n"lid,5\nbox,7\n', 'name,width\nbox,7\n"a"b,5\n'])
def test_quotes_that_do_not_match(refusal, content):
    line = content.count("\n", 0, content.index('"')) + 1
    assert refusal(content).startswith(f"line {line}: its quotes don't match")


def test_a_field_that_is_far_too_long(refusal):
    said = refusal(f"name,width\nlid,5\n{'x' * 200_000},7\n")
    assert said.startswith("line 3: a field of more than 131,072 characters")


def test_signs_that_cannot_be_printed_are_not_repeated(refusal):
    assert refusal("name,width,a\x1b[31m,a\x1b[31m\nlid,5\n").startswith("line 1: there are two")


def test_no_file(tmp_path):
    with pytest.raises(Refusal, match="there is no such file"):
        read_list(tmp_path / "none.csv", REQUIRED)


def test_a_folder(tmp_path):
    with pytest.raises(Refusal, match="this is a folder, not a list"):
        read_list(tmp_path, REQUIRED)


def test_what_stands_where_a_folder_should(write):
    path = write("name,width\n") / "list.csv"
    with pytest.raises(Refusal, match="it can't be read"):
        read_list(path, REQUIRED)


def test_a_doubled_name(write):
    path = write("name,width\nLid,5\nbox,7\nlid,6\n")
    with pytest.raises(Refusal) as refused:
        refuse_duplicates(read_list(path, REQUIRED), "name")
    assert str(refused.value) == (
        f"{path}, line 4, name: 'lid' stands in line 2 already; names must differ"
    )


@pytest.mark.parametrize(
    ("text", "number"), [("1", 1), (" 12 ", 12), ("+7", 7), ("007", 7), ("1000000", LARGEST_COUNT)]
)
def test_counts(text, number):
    assert check_count(text) == number


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "a whole number is missing"),
        ("0", "0 is too few; it must be at least 1"),
        ("-5", "-5 is too few; it must be at least 1"),
        ("--5", "'--5' is not a whole number"),
        ("+-5", "'+-5' is not a whole number"),
        ("+", "'+' is not a whole number"),
        ("1.0", "'1.0' is not a whole number"),
        ("2,5", "'2,5' is not a whole number"),
        ("1e3", "'1e3' is not a whole number"),
        ("1_000", "'1_000' is not a whole number"),
        ("３", "'３' is not a whole number"),
        ("²", "'²' is not a whole number"),
        ("ten", "'ten' is not a whole number"),
        ("1000001", "1000001 is too many; at most 1,000,000 can be counted"),
        ("9" * 5000, f"'{'9' * 40}…' is not a whole number"),
    ],
)
def test_no_counts(text, said):
    with pytest.raises(Refusal) as refused:
        check_count(text)
    assert str(refused.value) == said


def test_dates():
    assert read_date(" 2027-03-14 ") == date(2027, 3, 14)
    for text in ("", "14.3.2027", "2027-02-30", "tomorrow"):
        with pytest.raises(Refusal, match="write it like 2027-03-14"):
            read_date(text)


def test_fields_are_refused_with_file_line_and_field(write):
    path = write("name,width,quantity\n,5 ft,x\n")
    (row,) = read_list(path, REQUIRED, OPTIONAL)
    for field, read, said in (
        ("name", lambda: row.name("name"), "the name is missing"),
        ("width", lambda: row.length("width", Unit.MM), "'5 ft' has an unknown unit"),
        ("quantity", lambda: row.count("quantity"), "'x' is not a whole number"),
        ("quantity", lambda: row.money("quantity"), "the quantity 'x' is not an amount"),
        ("quantity", lambda: row.choice("quantity", ("a", "b"), "a"), "'x' must be a or b"),
    ):
        with pytest.raises(Refusal) as refused:
            read()
        assert str(refused.value).startswith(f"{path}, line 2, {field}: {said}")


def test_fields_are_read(write):
    (row,) = read_list(
        write("name,width,price,turn\nlid,5,1.20,NONE\n"), REQUIRED, ("price", "turn")
    )
    assert row.name("name") == "lid"
    assert row.money("price") == Decimal("1.20")
    assert row.choice("turn", ("any", "none"), "any") == "none"
    assert row.choice("elsewhere", ("any", "none"), "any") == "any"


def test_one_of():
    assert [join_choices(words) for words in (["a"], ["a", "b"], ["a", "b", "c"])] == [
        "a",
        "a or b",
        "a, b or c",
    ]


bytes_like_a_list = st.lists(
    st.sampled_from(
        [b"name", b"width", b"paper", b",", b";", b"\t", b"\n", b"\r", b'"', b"5", b" ",
         b"\xef\xbb\xbf", b"\xff", b"\0", b"\xc3\xa4", b"\xe2\x80\xa8", b"\x1b", b"-", b"x"]
    ),
    max_size=30,
).map(b"".join)  # fmt: skip


def refusal_of(deed):
    try:
        deed()
    except Refusal as refused:
        return str(refused)
    return ""


@settings(max_examples=300)
@given(
    st.one_of(
        st.binary(max_size=80),
        bytes_like_a_list,
        bytes_like_a_list.map(b"name,width\n".__add__),
    )
)
def test_any_file_is_a_list_or_a_refusal(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(content)
    said = refusal_of(lambda: read_list(path, REQUIRED, OPTIONAL))
    if not said:
        rows = read_list(path, REQUIRED, OPTIONAL)
        said = refusal_of(lambda: refuse_duplicates(rows, "name"))
        for row in rows:
            said += refusal_of(lambda row=row: row.name("name"))
            said += refusal_of(lambda row=row: row.length("width", Unit.MM))
            said += refusal_of(lambda row=row: row.count("quantity"))
            said += refusal_of(lambda row=row: row.money("paper"))
            said += refusal_of(lambda row=row: row.choice("paper", ("any", "none"), "any"))
    assert not {unicodedata.category(sign) for sign in said} & {"Cc", "Zl", "Zp"}


# --- damaged and overlarge files


def test_byte_order_marks_within_a_list_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "joined.csv"
    path.write_text("\ufeffname,\ufeffquantity\nlid,\ufeff4\n", encoding="utf-8")
    (row,) = read_list(path, ["name", "quantity"])
    assert row.count("quantity") == 4


def workbook(path: Path, **parts: bytes) -> Path:
    """Write a small workbook, some of its parts in place of those it has."""
    from io import BytesIO
    from zipfile import ZIP_DEFLATED, ZipFile

    from openpyxl import Workbook

    made = BytesIO()
    book = Workbook()
    book.active.append(["name", "quantity"])
    book.active.append(["lid", 4])
    book.save(made)
    with ZipFile(made) as whole, ZipFile(path, "w", ZIP_DEFLATED) as changed:
        for name in whole.namelist():
            part = Path(name).stem
            changed.writestr(name, parts[part] if part in parts else whole.read(name))
    return path


def test_a_workbook_that_would_fill_the_memory_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = workbook(tmp_path / "large.xlsx", theme1=b" " * 2_000_000)
    assert read_list(path, ["name"], ["quantity"])[0].text("name") == "lid"
    monkeypatch.setattr(table_files, "_LARGEST_WORKBOOK", 1_000_000)
    with pytest.raises(Refusal, match="unpacked it has more than 1 MB"):
        read_list(path, ["name"])


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    '<row r="{row}"><c r="A{row}" t="inlineStr"><is><t>name</t></is></c></row>'
    "</sheetData></worksheet>"
)


@pytest.mark.parametrize(
    ("sheet", "said"),
    [
        (SHEET.format(row="x"), "it can't be read as a workbook"),
        (SHEET.format(row=1)[:-30], "it can't be read as a workbook"),
        ("", "it can't be read as a workbook"),
    ],
)
def test_a_workbook_with_a_damaged_sheet_is_refused(tmp_path: Path, sheet: str, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        read_list(workbook(tmp_path / "odd.xlsx", sheet1=sheet.encode()), ["name"])


def test_a_workbook_has_no_lines_beyond_its_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(table_files, "_MOST_LINES", 1_000)
    far = workbook(tmp_path / "far.xlsx", sheet1=SHEET.format(row=999_999_999).encode())
    with pytest.raises(Refusal, match="more than 1,000 lines, empty ones counted"):
        read_list(far, ["name"])
