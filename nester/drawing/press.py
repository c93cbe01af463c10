"""Pages of marks as a PDF, vectors and words, the same bytes for the same pages."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from itertools import cycle
from math import hypot
from typing import TYPE_CHECKING

from nester.drawing.ink import POINT, Box, Disc, Line, Lines, Mark, Poly, Spots, Text
from nester.measure import quotable

if TYPE_CHECKING:
    from fpdf import FPDF

    from nester.drawing.faces import Faces

__all__ = ["Page", "pages_pdf"]


@dataclass
class Page:
    """A page, its size in millimetres; `bookmark` names it in the reader's list of contents."""

    width: float
    height: float
    marks: list[Mark] = field(default_factory=list)
    bookmark: str = ""


def pages_pdf(
    pages: Sequence[Page], faces: Faces, *, title: str, language: str, made_on: date
) -> bytes:
    """Print pages.

    Parameters
    ----------
    title, language
        What the document is called, and its language as in BCP 47.
    made_on
        The day that is written as its making, so that the bytes don't change with the clock.
    """
    from fpdf import FPDF, ViewerPreferences

    pdf = FPDF(unit="mm", format=(pages[0].width, pages[0].height))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    pdf.set_creation_date(datetime.combine(made_on, time(), UTC))
    pdf.set_title(quotable(title))
    pdf.set_lang(language)
    # A viewer that heeds this offers no scaling (ISO 32000-1, table 150: PrintScaling).
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None", display_doc_title=True)
    pen = _Pen(pdf, faces)
    for page in pages:
        pdf.add_page(format=(page.width, page.height))
        pen.begin_page()
        if page.bookmark:
            pdf.start_section(quotable(page.bookmark))
        for mark in page.marks:
            pen.draw(mark)
    return bytes(pdf.output())


class _Pen:
    """Draws marks, and tells the document about a colour or a width only when it changes."""

    def __init__(self, pdf: FPDF, faces: Faces) -> None:
        self.pdf, self.faces = pdf, faces
        self.loaded: set[str] = set()
        self.begin_page()

    def begin_page(self) -> None:
        self.now: dict[str, object] = {}

    def draw(self, mark: Mark) -> None:
        """Draw one mark."""
        match mark:
            case Text():
                self._text(mark)
            case Line():
                self._lines(Lines(array("d", mark[:4]), mark.width, mark.colour, mark.dash))
            case Lines():
                self._lines(mark)
            case Spots():
                self._change("fill", mark.fill, lambda: self.pdf.set_fill_color(mark.fill))
                self._write(" ".join(map(self._rectangle, *_fours(mark.sides))) + " f")
            case Box():
                style = self._style(mark.fill, mark.colour, mark.stroke)
                if style and mark.round:
                    radius = min(mark.round, mark.width / 2, mark.height / 2)
                    corners = {"round_corners": True, "corner_radius": radius}
                    self.pdf.rect(mark.x, mark.y, mark.width, mark.height, style, **corners)  # type: ignore[arg-type]
                elif style:
                    paint = {"D": "S", "F": "f", "DF": "B"}[style]
                    self._write(f"{self._rectangle(*mark[:4])} {paint}")
            case Poly():
                style = self._style(mark.fill, mark.colour, mark.stroke)
                draw = self.pdf.polygon if mark.closed else self.pdf.polyline
                if style:
                    draw(mark.points, style=style)
            case Disc():
                style = self._style(mark.fill, mark.colour, mark.stroke)
                if style:
                    self.pdf.circle(mark.x, mark.y, mark.radius, style)

    def _lines(self, lines: Lines) -> None:
        self._stroke(lines.colour, lines.width, lines.dash[:2] if len(lines.dash) == 2 else ())
        ends = _dashed(lines) if len(lines.dash) > 2 else zip(*_fours(lines.ends), strict=True)
        self._write(
            " ".join(
                f"{self._x(x1)} {self._y(y1)} m {self._x(x2)} {self._y(y2)} l"
                for x1, y1, x2, y2 in ends
            )
            + " S"
        )

    def _rectangle(self, x: float, y: float, width: float, height: float) -> str:
        sides = f"{_number(width / POINT)} {_number(-height / POINT)}"
        return f"{self._x(x)} {self._y(y)} {sides} re"

    def _write(self, operators: str) -> None:
        """Put operators into the page's content.

        Most marks are lines; to have fpdf2 check and write each takes several times as long.
        """
        self.pdf._out(operators)

    def _x(self, x: float) -> str:
        return _number(x / POINT)

    def _y(self, y: float) -> str:
        return _number(self.pdf.h_pt - y / POINT)

    def _text(self, mark: Text) -> None:
        runs = self.faces.runs(mark.words, bold=mark.bold)
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
        if share or len(runs) > 1:
            widths = [run.face.width(run.words) * mark.size * POINT for run in runs]
        else:
            widths = [0.0] * len(runs)  # nothing stands after it
        along = -share * sum(widths)
        self._change("text colour", mark.colour, lambda: self.pdf.set_text_color(mark.colour))
        for run, width in zip(runs, widths, strict=True):
            if run.face.name not in self.loaded:
                self.loaded.add(run.face.name)
                self.pdf.add_font(run.face.name, fname=str(run.face.path))
            font = (run.face.name, mark.size)
            self._change("font", font, lambda f=font: self.pdf.set_font(f[0], size=f[1]))  # type: ignore[misc]
            if mark.turned:
                with self.pdf.rotation(90, mark.x, mark.y):
                    self._run(mark.x + along, mark.y, run.words, run.face.shaped, mark.size)
            else:
                self._run(mark.x + along, mark.y, run.words, run.face.shaped, mark.size)
            along += width

    def _run(self, x: float, y: float, words: str, shaped: bool, size: float) -> None:
        if not shaped:
            self.pdf.text(x, y, words)
            return
        # Only cells are shaped; fpdf2 sets their words 0.3 of the size below the middle.
        self.pdf.set_text_shaping(True)
        self.pdf.set_xy(x, y - 0.3 * size * POINT)
        self.pdf.cell(w=0, h=0, text=words)
        self.pdf.set_text_shaping(False)

    def _style(self, fill: str | None, colour: str | None, width: float) -> str:
        if fill is not None:
            self._change("fill", fill, lambda: self.pdf.set_fill_color(fill))
        if colour is not None:
            self._stroke(colour, width, ())
        return ("D" if colour is not None else "") + ("F" if fill is not None else "")

    def _stroke(self, colour: str, width: float, dash: tuple[float, ...]) -> None:
        self._change("colour", colour, lambda: self.pdf.set_draw_color(colour))
        self._change("width", width, lambda: self.pdf.set_line_width(width))
        self._change("dash", dash, lambda: self._dashes(dash))

    def _dashes(self, dash: tuple[float, ...]) -> None:
        on, off = (dash[0], dash[1]) if dash else (0, 0)
        self.pdf.set_dash_pattern(dash=on, gap=off)

    def _change(self, what: str, value: object, make: Callable[[], None]) -> None:
        if self.now.get(what) != value:
            self.now[what] = value
            make()


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _fours(values: array[float]) -> tuple[array[float], ...]:
    return values[0::4], values[1::4], values[2::4], values[3::4]


def _dashed(lines: Lines) -> Iterator[tuple[float, float, float, float]]:
    """Yield the strokes of lines whose pattern is more than dash and gap: fpdf2 has no other."""
    for x1, y1, x2, y2 in zip(*_fours(lines.ends), strict=True):
        across, down = x2 - x1, y2 - y1
        length = hypot(across, down)
        at = 0.0
        for number, part in enumerate(cycle(lines.dash)):
            if at >= length:
                break
            if number % 2 == 0:
                near, far = at / length, min(1.0, (at + part) / length)
                yield x1 + across * near, y1 + down * near, x1 + across * far, y1 + down * far
            at += part
