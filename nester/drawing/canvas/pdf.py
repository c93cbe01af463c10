"""Pages of marks as a PDF, vectors and words, the same bytes for the same pages."""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from functools import cache
from typing import TYPE_CHECKING

from nester.core.errors import Refusal
from nester.core.lengths import printable
from nester.drawing.canvas.marks import (
    MM_PER_POINT,
    Circle,
    Line,
    LineBatch,
    Mark,
    Poly,
    Rectangle,
    RectBatch,
    Tag,
    TagChange,
    Text,
)

if TYPE_CHECKING:
    from pathlib import Path

    from fpdf import FPDF

    from nester.drawing.canvas.fonts import Face, FontSet, Run

__all__ = ["Page", "pages_pdf"]


@dataclass
class Page:
    """A page, its size in millimetres; `bookmark` names it in the reader's list of contents."""

    width: float
    height: float
    marks: list[Mark] = field(default_factory=list)
    bookmark: str = ""


def pages_pdf(
    pages: Sequence[Page], faces: FontSet, *, title: str, language: str, made_on: date
) -> bytes:
    """Print pages; they are emptied on the way, so that a long document is in memory once only.

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
    pdf.set_title(printable(title))
    pdf.set_lang(language)
    # A viewer that follows this offers no scaling (ISO 32000-1, table 150: PrintScaling).
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None", display_doc_title=True)
    pdf._set_min_pdf_version("1.4")  # the first that knows tags
    pen = _PageWriter(pdf, faces)
    for page in pages:
        pdf.add_page(format=(page.width, page.height))
        if page.bookmark:
            pdf.start_section(printable(page.bookmark))
        pen.page(page)
        page.marks.clear()
    with _refuse_damaged_fonts([face for face in pen.loaded if face.is_custom], pdf):
        return bytes(pdf.output())


def _read_all_tables(path: Path) -> None:
    """Read every table of a font, so that one that can't be read is closed again."""
    from fontTools.ttLib import TTFont

    with TTFont(path, fontNumber=0) as font:
        for tag in font.keys():  # noqa: SIM118
            font[tag]


@contextmanager
def _refuse_damaged_fonts(faces: Sequence[Face], pdf: FPDF) -> Iterator[None]:
    """Refuse damaged fonts: they fail in many ways, some only when a font is embedded."""
    from fpdf.fonts import TTFFont

    try:
        yield
    except Exception as why:
        for font in pdf.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()
        if not faces:
            raise
        files = ", ".join(str(face.path) for face in faces)
        raise Refusal(
            f"{files}: this font is damaged and can't be printed with"
            f" ({str(why) or type(why).__name__}); give another one"
        ) from None


class _PageWriter:
    """Draws marks, and passes the document a colour or a width only when it changes.

    Most of what a page holds is lines and words; to have fpdf2 check and write each takes several
    times as long as to write its operators (ISO 32000-1, 8 and 9) here.
    """

    def __init__(self, pdf: FPDF, faces: FontSet) -> None:
        from nester.drawing.canvas.pdf_tags import StructureTree

        self.pdf, self.faces = pdf, faces
        self.loaded: list[Face] = []
        self.encoded: dict[tuple[str, str], str] = {}
        self.operators: list[str] = []
        self.height = 0.0
        self.graphics_state: dict[str, object] = {}
        self.tree = StructureTree(pdf)
        self.tag: Tag | None = None
        self.tagged = False
        pdf.struct_builder = self.tree  # type: ignore[assignment]

    def page(self, page: Page) -> None:
        """Draw a page, which has been begun."""
        self.height = page.height / MM_PER_POINT
        self.graphics_state = {}
        self.tag = None
        for mark in page.marks:
            if isinstance(mark, TagChange):
                self._set_tag(mark.tag)
                continue
            if not self.tagged:
                self._begin_tag()
            self._draw(mark)
        self._set_tag(None)
        self._flush()

    def _set_tag(self, tag: Tag | None) -> None:
        if tag is not self.tag or tag is None:
            if self.tagged:
                self.operators.append("EMC")
            self.tag, self.tagged = tag, False

    def _begin_tag(self) -> None:
        """Say what the next marks belong to (ISO 32000-1, 14.6)."""
        if self.tag is None:
            self.operators.append("/Artifact BMC")
        else:
            number = self.tree.mark(self.tag)
            self.operators.append(f"/{self.tag.role} <</MCID {number}>> BDC")
        self.tagged = True

    def _flush(self) -> None:
        if self.operators:
            self.pdf._out("\n".join(self.operators))
            self.operators = []

    def _draw(self, mark: Mark) -> None:
        match mark:
            case Text():
                self._text(mark)
            case Line():
                self._lines(LineBatch(array("d", mark[:4]), mark.width, mark.colour, mark.dash))
            case LineBatch():
                self._lines(mark)
            case RectBatch():
                self._fill(mark.fill)
                self._rectangles(mark.rects)
            case Rectangle():
                path = (
                    self._rounded_rectangle(mark)
                    if mark.corner_radius
                    else self._rectangle(*mark[:4])
                )
                self._path(path, mark.fill, mark.colour, mark.stroke)
            case Poly():
                places = [self._point(*point) for point in mark.points]
                end = " h" if mark.closed else ""
                path = f"{places[0]} m {' '.join(f'{place} l' for place in places[1:])}{end}"
                self._path(path, mark.fill, mark.colour, mark.stroke)
            case Circle():
                wide = 2 * mark.radius
                box = Rectangle(
                    mark.x - mark.radius,
                    mark.y - mark.radius,
                    wide,
                    wide,
                    corner_radius=mark.radius,
                )
                self._path(self._rounded_rectangle(box), mark.fill, mark.colour, mark.stroke)

    def _path(self, path: str, fill: str | None, colour: str | None, width: float) -> None:
        paint = _PAINT_OPERATORS[fill is not None, colour is not None]
        if fill is not None:
            self._fill(fill)
        if colour is not None:
            self._stroke(colour, width, ())
        if paint:
            self.operators.append(f"{path} {paint}")

    def _lines(self, lines: LineBatch) -> None:
        self._stroke(lines.colour, lines.width, lines.dash)
        high = self.height
        self.operators += [
            f"{x1 / MM_PER_POINT:.2f} {high - y1 / MM_PER_POINT:.2f} m"
            f" {x2 / MM_PER_POINT:.2f} {high - y2 / MM_PER_POINT:.2f} l"
            for x1, y1, x2, y2 in zip(*_columns(lines.ends), strict=True)
        ]
        self.operators.append("S")

    def _rectangles(self, sides: array[float]) -> None:
        high = self.height
        self.operators += [
            f"{x / MM_PER_POINT:.2f} {high - y / MM_PER_POINT:.2f}"
            f" {wide / MM_PER_POINT:.2f} {-tall / MM_PER_POINT:.2f} re"
            for x, y, wide, tall in zip(*_columns(sides), strict=True)
        ]
        self.operators.append("f")

    def _rectangle(self, x: float, y: float, width: float, height: float) -> str:
        return f"{self._point(x, y)} {width / MM_PER_POINT:.2f} {-height / MM_PER_POINT:.2f} re"

    def _rounded_rectangle(self, box: Rectangle) -> str:
        """Return the path of a rectangle with round corners, each a Bézier curve."""
        radius = min(box.corner_radius, box.width / 2, box.height / 2)
        near = radius * (1 - _CIRCLE_HANDLE)
        left, top, right, bottom = box.x, box.y, box.x + box.width, box.y + box.height
        at = self._point
        return " ".join(
            (
                f"{at(left + radius, top)} m {at(right - radius, top)} l",
                f"{at(right - near, top)} {at(right, top + near)} {at(right, top + radius)} c",
                f"{at(right, bottom - radius)} l",
                f"{at(right, bottom - near)} {at(right - near, bottom)}",
                f"{at(right - radius, bottom)} c {at(left + radius, bottom)} l",
                f"{at(left + near, bottom)} {at(left, bottom - near)}",
                f"{at(left, bottom - radius)} c {at(left, top + radius)} l",
                f"{at(left, top + near)} {at(left + near, top)} {at(left + radius, top)} c h",
            )
        )

    def _point(self, x: float, y: float) -> str:
        return f"{x / MM_PER_POINT:.2f} {self.height - y / MM_PER_POINT:.2f}"

    def _text(self, mark: Text) -> None:
        runs = self.faces.runs(mark.text, bold=mark.bold)
        share = _ANCHOR_SHARES[mark.anchor]
        if len(runs) == 1:
            widths = [self.faces.width(mark.text, mark.size, bold=mark.bold)] if share else [0.0]
        else:
            widths = [run.face.width(run.text) * mark.size * MM_PER_POINT for run in runs]
        along = -share * sum(widths)
        for run, width in zip(runs, widths, strict=True):
            x, y = (mark.x, mark.y - along) if mark.turned else (mark.x + along, mark.y)
            if run.face.needs_shaping:
                self._shaped_text(x, y, run, mark)
            else:
                self._fill(mark.colour)
                if self._update_state("font", (run.face.name, mark.size)):
                    self.operators.append(self._font(run.face, mark.size))
                way = (
                    f"0 1 -1 0 {self._point(x, y)} Tm" if mark.turned else f"{self._point(x, y)} Td"
                )
                self.operators.append(f"BT {way} {self._show_operator(run)} ET")
            along += width

    def _load(self, face: Face) -> None:
        if face.name not in self.pdf.fonts:
            with _refuse_damaged_fonts([face], self.pdf):
                if face.is_custom:
                    _read_all_tables(face.path)
                self.pdf.add_font(face.name, fname=str(face.path))
            self.loaded.append(face)

    def _font(self, face: Face, size: float) -> str:
        self._load(face)
        font = self.pdf.fonts[face.name]
        return self.pdf._set_font_for_page(font, size, wrap_in_text_object=False)

    def _show_operator(self, run: Run) -> str:
        """Return the operator that shows words, in the font's own numbers of its signs."""
        key = (run.face.name, run.text)
        if key not in self.encoded:
            font = self.pdf.fonts[run.face.name]
            self.encoded[key] = font.encode_text(run.text)
        return self.encoded[key]

    def _shaped_text(self, x: float, y: float, run: Run, mark: Text) -> None:
        """Have fpdf2 shape characters that change beside one another; it does so in cells only."""
        self._fill(mark.colour)
        self._flush()
        self._load(run.face)
        pdf = self.pdf
        with pdf.local_context():  # which leaves the page's colours and font as they are
            pdf.set_text_color(mark.colour)
            pdf.set_font(run.face.name, size=mark.size)
            pdf.set_text_shaping(True)
            with pdf.rotation(90 if mark.turned else 0, x, y):
                # A cell's words stand 0.3 of their size below its middle.
                pdf.set_xy(x, y - 0.3 * mark.size * MM_PER_POINT)
                pdf.cell(w=0, h=0, text=run.text)
            pdf.set_text_shaping(False)

    def _fill(self, colour: str) -> None:
        if self._update_state("fill", colour):
            self.operators.append(f"{_rgb(colour)} rg")

    def _stroke(self, colour: str, width: float, dash: tuple[float, ...]) -> None:
        if self._update_state("colour", colour):
            self.operators.append(f"{_rgb(colour)} RG")
        if self._update_state("width", width):
            self.operators.append(f"{width / MM_PER_POINT:.2f} w")
        if self._update_state("dash", dash):
            parts = " ".join(f"{part / MM_PER_POINT:.3f}" for part in dash)
            self.operators.append(f"[{parts}] 0 d")

    def _update_state(self, what: str, value: object) -> bool:
        if self.graphics_state.get(what) == value:
            return False
        self.graphics_state[what] = value
        return True


_ANCHOR_SHARES = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""How much of a text stands left of its place."""
_PAINT_OPERATORS = {(True, True): "B", (True, False): "f", (False, True): "S", (False, False): ""}
"""Operators by whether an area is filled and its edge drawn."""
_CIRCLE_HANDLE = 4 / 3 * (2**0.5 - 1)
"""How far a Bézier curve's handles reach along the sides of a quarter of a circle; its error is
below 0.03 % of the radius."""


@cache
def _rgb(colour: str) -> str:
    digits = colour.removeprefix("#")
    if len(digits) == 3:
        digits = "".join(digit + digit for digit in digits)
    return " ".join(f"{int(digits[i : i + 2], 16) / 255:.4g}" for i in (0, 2, 4))


def _columns(values: array[float]) -> tuple[array[float], ...]:
    return values[0::4], values[1::4], values[2::4], values[3::4]
