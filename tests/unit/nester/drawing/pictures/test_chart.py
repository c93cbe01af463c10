"""Small charts: round ticks, pictures that pages can take, text that fits a terminal."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from io import BytesIO

import pdfplumber
import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.drawing.canvas.marks import Line, LineBatch, Poly, Text, svg_marks
from nester.drawing.canvas.svg import svg_document, svg_number
from nester.drawing.canvas.text_metrics import terminal_width
from nester.drawing.pictures.chart import (
    BarChart,
    StepChart,
    bars_svg,
    bars_text,
    chart_pdf,
    length_ticks,
    number_ticks,
    steps_svg,
    steps_text,
)

SIZES = tuple(cm(15) + mm(number) for number in range(40))


def words(value: Fraction) -> str:
    return f"{float(value):.2f}"


def stairs(
    values: tuple[Fraction | None, ...] | None = None,
    least: tuple[Fraction | None, ...] | None = None,
) -> StepChart:
    rising = tuple(Fraction(2) + number // 10 for number in range(len(SIZES)))
    shown = rising if values is None else values
    below = tuple(None if one is None else one - Fraction(1, 2) for one in shown)
    return StepChart(
        "Paper for each box", "panel", "m² each", Unit.CM, SIZES, shown,
        below if least is None else least, frozenset({10, 20, 30}), words,
    )  # fmt: skip


BARS = BarChart(
    "Used, by paper",
    (("Coal card", Fraction(4)), ("苔 linen", Fraction(1)), ("Fern", Fraction(0))),
    words,
)


@pytest.mark.parametrize(
    ("low", "high", "most", "ticks"),
    [
        (0, 10, 6, [0, 2, 4, 6, 8, 10]),
        ("1.85", "2.95", 6, ["1.5", 2, "2.5", 3]),
        ("0.011", "0.019", 5, ["0.01", "0.012", "0.014", "0.016", "0.018", "0.02"]),
        (3, 3, 5, [0, 2, 4, 6]),
        (0, 0, 3, [0, "0.5", 1]),
    ],
)
def test_numbers_on_an_axis_are_round_and_enclose_all(
    low: int | str, high: int | str, most: int, ticks: list[int | str]
) -> None:
    found = number_ticks(Fraction(low), Fraction(high), most)
    assert found == [Fraction(tick) for tick in ticks]


def test_lengths_on_an_axis_are_round_in_the_shops_unit() -> None:
    assert length_ticks(cm(15), mm(189), Unit.CM, 10) == [
        cm(15) + mm(5) * number for number in range(8)
    ]
    assert length_ticks(inch("3.9"), inch(6), Unit.IN, 4) == [inch(4), inch(5), inch(6)]
    eighths = length_ticks(inch("1.6875"), inch("2.3125"), Unit.IN, 6)
    assert eighths == [inch("1.75") + number * inch("1/8") for number in range(5)]
    assert length_ticks(mm(7), mm(7), Unit.MM, 4) == [mm(7), mm(7)]


def test_a_picture_of_steps_goes_up_where_the_values_do() -> None:
    picture = steps_svg(stairs())
    marks = list(svg_marks(picture, 0, 0, 1))
    (line,) = [mark for mark in marks if isinstance(mark, Poly)]
    heights = list(dict.fromkeys(round(y, 2) for _, y in line.points))
    assert heights == sorted(heights, reverse=True)  # y runs down
    assert len(heights) == 4
    assert all(
        here[0] == there[0] or here[1] == there[1]
        for here, there in zip(line.points, line.points[1:], strict=False)
    )
    dashed = [mark for mark in marks if isinstance(mark, (Line, LineBatch)) and mark.dash]
    assert dashed
    labels = {mark.text for mark in marks if isinstance(mark, Text)}
    assert {"Paper for each box", "panel (cm)", "m² each", "15", "18.5", "2.00"} <= labels
    assert len(picture.findall(".//{*}circle")) == 3


def test_gaps_part_the_line() -> None:
    values = tuple(None if 5 <= number < 9 else Fraction(2) for number in range(len(SIZES)))
    picture = steps_svg(stairs(values))
    assert len(picture.findall(".//{*}polyline")) == 2


def test_words_stay_within_the_picture_and_apart() -> None:
    for picture in (steps_svg(stairs()), bars_svg(BARS)):
        width, height = (float(picture.get(side, "0")) for side in ("width", "height"))
        for mark in svg_marks(picture, 0, 0, 1):
            if isinstance(mark, Text):
                assert 0 <= mark.x <= width
                assert 0 <= mark.y <= height


def test_wide_letters_have_room_before_and_behind_bars() -> None:
    """Signs of Chinese, Japanese and Korean are as wide as the letters are high."""
    rows = (("苔色の和紙、手漉き", Fraction(4)), ("Fern", Fraction(1)))
    picture = bars_svg(BarChart("Used", rows, lambda value: f"{value} 平方メートル"))
    yen = replace(stairs(), format_value=lambda value: f"{value * 100_000} 円ずつ毎回")
    for drawn in (picture, steps_svg(yen)):
        wide = float(drawn.get("width", "0"))
        for mark in svg_marks(drawn, 0, 0, 1):
            if isinstance(mark, Text) and any(ord(sign) > 0x3000 for sign in mark.text):
                high = mark.size * 25.4 / 72  # from points, where a unit is a millimetre
                long = high * terminal_width(mark.text) / 2
                left = mark.x - long if mark.anchor == "end" else mark.x
                assert 0 <= left < left + long <= wide


def test_the_same_chart_is_the_same_text() -> None:
    assert svg_document(steps_svg(stairs())) == svg_document(steps_svg(stairs()))
    assert svg_document(bars_svg(BARS)).count("<rect") == 3


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Fraction(1, 3), "0.33"),
        (Fraction(-1, 1000), "0"),
        (Fraction(1000), "1000"),
        (Fraction(-5, 2), "-2.5"),
        (Fraction(1, 8), "0.12"),
    ],
)
def test_a_number_is_written_the_same_whatever_it_is_made_of(value: Fraction, written: str) -> None:
    assert svg_number(value) == svg_number.__wrapped__(float(value)) == written


def test_a_chart_on_a_page_has_its_words() -> None:
    printed = chart_pdf(bars_svg(BARS), BARS.title)
    assert printed == chart_pdf(bars_svg(BARS), BARS.title)
    with pdfplumber.open(BytesIO(printed)) as document:
        (page,) = document.pages
        text = page.extract_text()
        assert page.width > page.height
    assert "Used, by paper" in text
    assert "Coal card" in text
    assert "4.00" in text


def test_steps_as_text_fit_the_terminal_and_rise() -> None:
    text = steps_text(stairs())
    lines = text.splitlines()
    assert max(map(terminal_width, lines)) <= 80
    blocks = [line.partition("│")[2] for line in lines if "│" in line]
    heights = [sum(row[column : column + 1] in "▁▂▃▄▅▆▇█" and row[column : column + 1] != ""
                   for row in blocks) for column in range(len(blocks[-1]))]  # fmt: skip
    assert heights == sorted(heights)
    assert len(set(heights)) == 4
    ruler = next(line for line in lines if "└" in line)
    assert ruler.count("┬") == 3
    assert "15" in lines[-2]
    assert lines[-1].strip() == "panel (cm)"


def test_many_sizes_share_columns() -> None:
    places = tuple(cm(10) + mm(number) for number in range(300))
    values = tuple(Fraction(1 + number // 100) for number in range(300))
    chart = StepChart("t", "a", "u", Unit.CM, places, values, values, frozenset({100}), words)
    lines = steps_text(chart).splitlines()
    assert max(map(terminal_width, lines)) <= 80
    assert sum(line.count("┬") for line in lines) == 1


def test_nothing_to_show_is_said() -> None:
    none: tuple[None, ...] = (None,) * len(SIZES)
    assert "no size can be had" in steps_text(stairs(none, none))
    steps_svg(stairs(none, none))


def test_bars_as_text_are_as_long_as_their_values() -> None:
    title, *lines = bars_text(BARS).splitlines()
    assert title == "Used, by paper"
    long = [line.count("█") for line in lines]
    assert long[0] > 40
    assert abs(long[0] - 4 * long[1]) <= 4
    assert long[2] == 0
    assert max(map(terminal_width, lines)) <= 80
    starts = {terminal_width(line.partition("│")[0]) for line in lines}
    assert len(starts) == 1
