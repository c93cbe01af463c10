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
from nester.core.lengths import quotable
from nester.drawing.canvas.marks import (
    POINT,
    Box,
    Disc,
    Line,
    Lines,
    Mark,
    Poly,
    Spots,
    Tag,
    Text,
    Within,
)

if TYPE_CHECKING:
    from pathlib import Path

    from fpdf import FPDF

    from nester.drawing.canvas.fonts import Face, Faces, Run

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
    pdf.set_title(quotable(title))
    pdf.set_lang(language)
    # A viewer that heeds this offers no scaling (ISO 32000-1, table 150: PrintScaling).
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None", display_doc_title=True)
    pdf._set_min_pdf_version("1.4")  # the first that knows tags
    pen = _Pen(pdf, faces)
    for page in pages:
        pdf.add_page(format=(page.width, page.height))
        if page.bookmark:
            pdf.start_section(quotable(page.bookmark))
        pen.page(page)
        page.marks.clear()
    with _refusing([face for face in pen.loaded if face.own], pdf):
        return bytes(pdf.output())


def _look_through(path: Path) -> None:
    """Read every table of a font, so that one that can't be read is closed again."""
    from fontTools.ttLib import TTFont

    with TTFont(path, fontNumber=0) as font:
        for tag in font.keys():  # noqa: SIM118
            font[tag]


@contextmanager
def _refusing(faces: Sequence[Face], pdf: FPDF) -> Iterator[None]:
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


class _Pen:
    """Draws marks, and tells the document about a colour or a width only when it changes.

    Most of what a page holds is lines and words; to have fpdf2 check and write each takes several
    times as long as to write its operators (ISO 32000-1, 8 and 9) here.
    """

    def __init__(self, pdf: FPDF, faces: Faces) -> None:
        from nester.drawing.canvas.pdf_tags import Tree

        self.pdf, self.faces = pdf, faces
        self.loaded: list[Face] = []
        self.shown: dict[tuple[str, str], str] = {}
        self.operators: list[str] = []
        self.height = 0.0
        self.now: dict[str, object] = {}
        self.tree = Tree(pdf)
        self.tag: Tag | None = None
        self.tagged = False
        pdf.struct_builder = self.tree  # type: ignore[assignment]

    def page(self, page: Page) -> None:
        """Draw a page, which has been begun."""
        self.height = page.height / POINT
        self.now = {}
        self.tag = None
        for mark in page.marks:
            if isinstance(mark, Within):
                self._within(mark.tag)
                continue
            if not self.tagged:
                self._begin_tag()
            self._draw(mark)
        self._within(None)
        self._flush()

    def _within(self, tag: Tag | None) -> None:
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
                self._lines(Lines(array("d", mark[:4]), mark.width, mark.colour, mark.dash))
            case Lines():
                self._lines(mark)
            case Spots():
                self._fill(mark.fill)
                self._spots(mark.sides)
            case Box():
                path = self._round(mark) if mark.round else self._rectangle(*mark[:4])
                self._path(path, mark.fill, mark.colour, mark.stroke)
            case Poly():
                places = [self._place(*point) for point in mark.points]
                end = " h" if mark.closed else ""
                path = f"{places[0]} m {' '.join(f'{place} l' for place in places[1:])}{end}"
                self._path(path, mark.fill, mark.colour, mark.stroke)
            case Disc():
                wide = 2 * mark.radius
                box = Box(mark.x - mark.radius, mark.y - mark.radius, wide, wide, round=mark.radius)
                self._path(self._round(box), mark.fill, mark.colour, mark.stroke)

    def _path(self, path: str, fill: str | None, colour: str | None, width: float) -> None:
        paint = _PAINTS[fill is not None, colour is not None]
        if fill is not None:
            self._fill(fill)
        if colour is not None:
            self._stroke(colour, width, ())
        if paint:
            self.operators.append(f"{path} {paint}")

    def _lines(self, lines: Lines) -> None:
        self._stroke(lines.colour, lines.width, lines.dash)
        high = self.height
        self.operators += [
            f"{x1 / POINT:.2f} {high - y1 / POINT:.2f} m {x2 / POINT:.2f} {high - y2 / POINT:.2f} l"
            for x1, y1, x2, y2 in zip(*_fours(lines.ends), strict=True)
        ]
        self.operators.append("S")

    def _spots(self, sides: array[float]) -> None:
        high = self.height
        self.operators += [
            f"{x / POINT:.2f} {high - y / POINT:.2f} {wide / POINT:.2f} {-tall / POINT:.2f} re"
            for x, y, wide, tall in zip(*_fours(sides), strict=True)
        ]
        self.operators.append("f")

    def _rectangle(self, x: float, y: float, width: float, height: float) -> str:
        return f"{self._place(x, y)} {width / POINT:.2f} {-height / POINT:.2f} re"

    def _round(self, box: Box) -> str:
        """Return the path of a rectangle with round corners, each a Bézier curve."""
        radius = min(box.round, box.width / 2, box.height / 2)
        near = radius * (1 - _ROUNDNESS)
        left, top, right, bottom = box.x, box.y, box.x + box.width, box.y + box.height
        at = self._place
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

    def _place(self, x: float, y: float) -> str:
        return f"{x / POINT:.2f} {self.height - y / POINT:.2f}"

    def _text(self, mark: Text) -> None:
        runs = self.faces.runs(mark.words, bold=mark.bold)
        share = _SHARES[mark.anchor]
        if len(runs) == 1:
            widths = [self.faces.width(mark.words, mark.size, bold=mark.bold)] if share else [0.0]
        else:
            widths = [run.face.width(run.words) * mark.size * POINT for run in runs]
        along = -share * sum(widths)
        for run, width in zip(runs, widths, strict=True):
            x, y = (mark.x, mark.y - along) if mark.turned else (mark.x + along, mark.y)
            if run.face.shaped:
                self._shaped(x, y, run, mark)
            else:
                self._fill(mark.colour)
                if self._changes("font", (run.face.name, mark.size)):
                    self.operators.append(self._font(run.face, mark.size))
                way = (
                    f"0 1 -1 0 {self._place(x, y)} Tm" if mark.turned else f"{self._place(x, y)} Td"
                )
                self.operators.append(f"BT {way} {self._show(run)} ET")
            along += width

    def _load(self, face: Face) -> None:
        if face.name not in self.pdf.fonts:
            with _refusing([face], self.pdf):
                if face.own:
                    _look_through(face.path)
                self.pdf.add_font(face.name, fname=str(face.path))
            self.loaded.append(face)

    def _font(self, face: Face, size: float) -> str:
        self._load(face)
        font = self.pdf.fonts[face.name]
        return self.pdf._set_font_for_page(font, size, wrap_in_text_object=False)

    def _show(self, run: Run) -> str:
        """Return the operator that shows words, in the font's own numbers of its signs."""
        key = (run.face.name, run.words)
        if key not in self.shown:
            font = self.pdf.fonts[run.face.name]
            self.shown[key] = font.encode_text(run.words)
        return self.shown[key]

    def _shaped(self, x: float, y: float, run: Run, mark: Text) -> None:
        """Have fpdf2 set signs that change beside one another; it does so in cells only."""
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
                pdf.set_xy(x, y - 0.3 * mark.size * POINT)
                pdf.cell(w=0, h=0, text=run.words)
            pdf.set_text_shaping(False)

    def _fill(self, colour: str) -> None:
        if self._changes("fill", colour):
            self.operators.append(f"{_rgb(colour)} rg")

    def _stroke(self, colour: str, width: float, dash: tuple[float, ...]) -> None:
        if self._changes("colour", colour):
            self.operators.append(f"{_rgb(colour)} RG")
        if self._changes("width", width):
            self.operators.append(f"{width / POINT:.2f} w")
        if self._changes("dash", dash):
            parts = " ".join(f"{part / POINT:.3f}" for part in dash)
            self.operators.append(f"[{parts}] 0 d")

    def _changes(self, what: str, value: object) -> bool:
        if self.now.get(what) == value:
            return False
        self.now[what] = value
        return True


_SHARES = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""How much of a text stands left of its place."""
_PAINTS = {(True, True): "B", (True, False): "f", (False, True): "S", (False, False): ""}
"""Operators by whether an area is filled and its edge drawn."""
_ROUNDNESS = 4 / 3 * (2**0.5 - 1)
"""How far a Bézier curve's handles reach along the sides of a quarter of a circle; its error is
below 0.03 % of the radius."""


@cache
def _rgb(colour: str) -> str:
    digits = colour.removeprefix("#")
    if len(digits) == 3:
        digits = "".join(digit + digit for digit in digits)
    return " ".join(f"{int(digits[i : i + 2], 16) / 255:.4g}" for i in (0, 2, 4))


def _fours(values: array[float]) -> tuple[array[float], ...]:
    return values[0::4], values[1::4], values[2::4], values[3::4]
