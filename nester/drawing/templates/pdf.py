"""Pieces at full size as PDF, for a desk printer: on A4 or Letter, large ones over several pages.

The first page has a square to measure, for a printer that scales makes every piece wrong, and a
list of what lies where.  Small pieces share pages: shelves filled first-fit by decreasing height
(Coffman, Garey, Johnson and Tarjan 1980, "Performance bounds for level-oriented two-dimensional
packing algorithms").  A large piece is cut into tiles that overlap; what is drawn in an overlap,
crosses to lay on one another among it, is the same on both pages.

Text is set in Source Sans Pro, embedded in part (SIL Open Font License 1.1; Latin, Greek and
Cyrillic letters): the fonts built into PDF lack half of Europe's letters.  A sign it has not is
shown as ``[?]``.  Coordinates are written to 0.0001 point.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from nester.core.errors import Refusal
from nester.core.lengths import UNITS_PER_INCH, Length, Unit, inch, mm, printable
from nester.core.piece import Fold, Grain, Line, Piece, Point
from nester.core.problem import Rect
from nester.core.sheet_sizes import SHEET_SIZES, Size
from nester.drawing.pictures.piece import FOLD_WORDS, GRAIN_WORDS
from nester.drawing.templates.svg import FOLD_PATTERNS, piece_caption

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["OVERLAP", "PAGES", "template_pdf"]

PAGES = {"A4": SHEET_SIZES["A4"], "Letter": SHEET_SIZES["letter"]}
OVERLAP: Length = mm(10)
"""How far neighbouring tiles of a piece show the same."""
MAX_PAGES = 2000

_SIDE, _TOP, _BOTTOM = mm(10), mm(19), mm(10)
"""Left free around what is drawn: most desk printers can't print to the edge."""
_LABEL: Length = mm(7)
"""Room for the words below a small piece."""
_GAP: Length = mm(5)
_INTRO: Length = mm(120)
"""Where the list of pieces begins on the first page."""
_ROW: Length = mm(7)
_MAP: Length = mm(32)
"""Longest side of the small map of a tiled piece."""
_MIN_TILE_ON_MAP: Length = mm(4)

_TITLE, _WORDS, _SMALL, _TINY = 17, 10, 9, 7
_BLACK, _GREY, _PALE = 0.0, 0.5, 0.91
_STROKE, _FINE = mm("0.25"), mm("0.15")
_PATTERNS = {fold: [mm(str(part)) for part in parts] for fold, parts in FOLD_PATTERNS.items()}
_POINT = Fraction(UNITS_PER_INCH, 72)
_REPLACEMENT = "[?]"
_CREATED = datetime(2000, 1, 1, tzinfo=UTC)
"""Written as the time of making, so that the same pieces give the same file."""

_JOINING_NOTE = (
    "Pieces larger than a page are printed in tiles; the header of each page says which. To join"
    " them: trim a tile along the grey line at its left and upper side, lay it over its neighbour"
    " up to the neighbour's grey line so that the crosses meet, and tape or glue it down."
)
_SAFETY_NOTE = (
    "Blades are sharp: cut along a steel rule on a cutting mat, fingers behind the rule, and put"
    " the blade away. Keep blades, glue, hot tools and small parts such as eyelets away from"
    " children. Follow local rules and the makers' instructions of your tools and glue."
)


class _PlacedPiece(NamedTuple):
    """A small piece on a page that it shares."""

    piece: Piece
    x: Length
    y: Length


class _Tiling(NamedTuple):
    """How a large piece is spread over pages: tiles of `window` size, overlapping."""

    piece: Piece
    window: Size
    landscape: bool
    columns: int
    rows: int

    @property
    def pages(self) -> int:
        """How many pages it takes."""
        return self.columns * self.rows

    def tile(self, row: int, column: int) -> Rect:
        """Return the part of the piece that a tile shows, counted from 0."""
        wide, high = self.window
        return Rect(column * (wide - OVERLAP), row * (high - OVERLAP), wide, high)


@dataclass
class _PagePlan:
    """What comes on which page."""

    shared: list[list[_PlacedPiece]] = field(default_factory=list)
    tilings: list[_Tiling] = field(default_factory=list)
    first_pages: int = 1


def template_pdf(
    pieces: Sequence[Piece], page: str = "A4", unit: Unit = Unit.MM, title: str = "Templates"
) -> bytes:
    """Draw pieces at full size on pages for a desk printer.

    Parameters
    ----------
    pieces
        What to draw, each once; its words say how many are wanted.
    page
        ``A4`` or ``Letter``.
    unit
        The unit of the sizes; the square to measure is 5 cm, or 2 in for inches.
    title
        What the document is called.

    Returns
    -------
    bytes
        A PDF document; the same pieces always give the same bytes.

    Raises
    ------
    Refusal
        If the page has another name, or the pieces take more than 2000 pages.
    """
    if page not in PAGES:
        raise Refusal(f"'{printable(page)[:30]}' is not a page to print on; use A4 or Letter")
    size = PAGES[page]
    plan = _plan_pages(pieces, size)
    entries = _entries(pieces, plan)
    plan.first_pages = len(list(_cover_pages(entries, size)))
    pages = plan.first_pages + len(plan.shared) + sum(t.pages for t in plan.tilings)
    if pages > MAX_PAGES:
        raise Refusal(
            f"these templates would take {pages} pages; draw fewer or smaller pieces at a time,"
            f" {MAX_PAGES} pages at most"
        )
    book = _PdfDocument(size, printable(title) or "Templates", pages)
    _write_cover(book, entries, size, unit, plan.first_pages)
    for spots in plan.shared:
        book.new_page()
        for spot in spots:
            _draw_placed_piece(book, spot, unit)
    for tiling in plan.tilings:
        for row in range(tiling.rows):
            for column in range(tiling.columns):
                _draw_tile(book, tiling, row, column, unit)
    return book.finished()


def _plan_pages(pieces: Sequence[Piece], size: Size) -> _PagePlan:
    plan = _PagePlan()
    upright = _window(size, lying=False)
    small = [p for p in pieces if p.width <= upright.width and p.height + _LABEL <= upright.height]
    plan.shared = _shared_pages(small, upright)
    plan.tilings = [_tiling(p, size) for p in pieces if not any(p is other for other in small)]
    return plan


def _window(size: Size, *, lying: bool) -> Size:
    wide, high = (size.height, size.width) if lying else size
    return Size(wide - 2 * _SIDE, high - _TOP - _BOTTOM)


def _tiling(piece: Piece, size: Size) -> _Tiling:
    """Spread a piece over as few pages as it can, upright ones if lying ones are no better."""

    def tiles(length: Length, window: Length) -> int:
        return max(1, -((OVERLAP - length) // (window - OVERLAP)))

    ways = []
    for lying in (False, True):
        window = _window(size, lying=lying)
        columns, rows = tiles(piece.width, window.width), tiles(piece.height, window.height)
        ways.append(_Tiling(piece, window, lying, columns, rows))
    return min(ways, key=lambda way: way.pages)


def _shared_pages(pieces: Sequence[Piece], window: Size) -> list[list[_PlacedPiece]]:
    """Place pieces on shelves, and shelves on pages, each on the first with room."""
    shelves: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda p: -p.height):
        for shelf in shelves:
            if sum(_cell_width(p) for p in shelf) + _cell_width(piece) <= window.width + _GAP:
                shelf.append(piece)
                break
        else:
            shelves.append([piece])
    pages: list[list[_PlacedPiece]] = []
    used: list[Length] = []
    for shelf in shelves:
        high = shelf[0].height + _LABEL + _GAP
        at = next((n for n, y in enumerate(used) if y + high <= window.height + _GAP), len(used))
        if at == len(used):
            pages.append([])
            used.append(0)
        x = 0
        for piece in shelf:
            pages[at].append(_PlacedPiece(piece, x, used[at]))
            x += _cell_width(piece)
        used[at] += high
    return pages


_MIN_CELL: Length = mm(45)


def _cell_width(piece: Piece) -> Length:
    """Return the width a piece takes up on its shelf; narrow ones leave room for their words."""
    return max(piece.width, _MIN_CELL) + _GAP


class _Entry(NamedTuple):
    """One piece in the list on the first page; its pages are counted after the list's own."""

    piece: Piece
    page: int
    tiling: _Tiling | None

    @property
    def height(self) -> Length:
        """How much of the page it takes."""
        if self.tiling is None or self.tiling.pages == 1:
            return _ROW
        longest = max(self.piece.width, self.piece.height)
        return max(3 * _ROW, _MAP * self.piece.height // longest + mm(8))


def _entries(pieces: Sequence[Piece], plan: _PagePlan) -> list[_Entry]:
    pages: dict[int, tuple[int, _Tiling | None]] = {}
    for number, spots in enumerate(plan.shared):
        pages.update((id(spot.piece), (number, None)) for spot in spots)
    number = len(plan.shared)
    for tiling in plan.tilings:
        pages[id(tiling.piece)] = (number, tiling)
        number += tiling.pages
    return [_Entry(piece, *pages[id(piece)]) for piece in pieces]


def _cover_pages(entries: Sequence[_Entry], size: Size) -> Iterator[list[tuple[Length, _Entry]]]:
    """Yield the entries of each page of the list, with the height at which each stands."""
    placed: list[tuple[Length, _Entry]] = []
    y = _INTRO
    for entry in entries:
        if y + entry.height > size.height - _BOTTOM:
            yield placed
            placed, y = [], _TOP + _ROW
        placed.append((y, entry))
        y += entry.height
    yield placed


class _PdfDocument:
    """The document: pages with their headers, and lines and words by exact place."""

    def __init__(self, size: Size, title: str, pages: int) -> None:
        from importlib.resources import files

        from fpdf import FPDF, ViewerPreferences
        from fpdf.fonts import TTFFont

        # In points fpdf2 writes lengths as they are; for mm it would round the factor to them.
        pdf: FPDF = FPDF(unit="pt", format=(_to_points(size.width), _to_points(size.height)))
        self.pdf, self.size, self.pages = pdf, size, pages
        pdf.set_auto_page_break(False)
        pdf.set_margin(0)
        pdf.c_margin = 0
        pdf.set_creation_date(_CREATED)
        pdf.set_lang("en")
        # A viewer that follows this offers no scaling (ISO 32000-1, table 150: PrintScaling).
        pdf.viewer_preferences = ViewerPreferences(print_scaling="None", display_doc_title=True)
        font = files("font_source_sans_pro") / "files" / "SourceSansPro-Regular.ttf"
        pdf.add_font("text", fname=str(font))
        pdf.set_font("text", size=_WORDS)
        face = pdf.fonts["text"]
        self.characters = face.cmap if isinstance(face, TTFFont) else {}
        self.title = self.printable(title)
        pdf.set_title(title)

    def new_page(self, *, lying: bool = False) -> Size:
        """Begin a page, with the title and the page's number above; return its size."""
        self.pdf.add_page(orientation="L" if lying else "P")
        wide, high = (self.size.height, self.size.width) if lying else self.size
        number = f"page {self.pdf.page_no()} of {self.pages}"
        room = wide - 2 * _SIDE - mm(35)
        self.text(_SIDE, mm(9), self.title, size=_SMALL, room=room, grey=_GREY)
        self.text(wide - _SIDE, mm(9), number, size=_SMALL, grey=_GREY, right=True)
        return Size(wide, high)

    def printable(self, words: str) -> str:
        """Return words with the signs that the font hasn't visibly replaced."""
        composed = unicodedata.normalize("NFC", printable(words))
        return "".join(c if ord(c) in self.characters else _REPLACEMENT for c in composed)

    def text(
        self,
        x: Length,
        y: Length,
        words: str,
        *,
        size: float = _WORDS,
        room: Length = 0,
        grey: float = _BLACK,
        right: bool = False,
        up: bool = False,
    ) -> None:
        """Write one line at its base line, shortened if it is wider than `room`."""
        pdf = self.pdf
        pdf.set_font("text", size=size)
        pdf.set_text_color(round(grey * 255))
        line = self.printable(words)
        if room and pdf.get_string_width(line) > _to_points(room):
            while line and pdf.get_string_width(line + "…") > _to_points(room):
                line = line[:-1]
            line = line.rstrip() + "…"
        left = _to_points(x) - (pdf.get_string_width(line) if right else 0)
        if up:
            with pdf.rotation(90, left, _to_points(y)):
                pdf.text(left, _to_points(y), line)
        else:
            pdf.text(left, _to_points(y), line)

    def paragraph(self, x: Length, y: Length, words: str, *, room: Length, size: float) -> Length:
        """Write words in lines of `room`; return where the next may begin."""
        self.pdf.set_font("text", size=size)
        self.pdf.set_text_color(0)
        self.pdf.set_xy(_to_points(x), _to_points(y))
        self.pdf.multi_cell(_to_points(room), size * 1.28, self.printable(words), align="L")
        return round(Fraction(self.pdf.get_y()) * _POINT)

    def lines(
        self,
        lines: Sequence[Line],
        *,
        width: Length = _STROKE,
        grey: float = _BLACK,
        pattern: Sequence[Length] = (),
    ) -> None:
        """Draw lines given by places on the page."""
        if not lines:
            return
        with self.pdf.new_path() as path:
            path.style.auto_close = False
            path.style.fill_color = None
            path.style.stroke_color = _grey(grey)
            path.style.stroke_width = _to_points(width)
            path.style.stroke_dash_pattern = [_to_points(part) for part in pattern] or None
            for start, end in lines:
                path.move_to(_to_points(start.x), _to_points(start.y))
                path.line_to(_to_points(end.x), _to_points(end.y))

    def polygon(self, corners: Sequence[Point], grey: float = _PALE) -> None:
        """Tint a polygon given by places on the page."""
        with self.pdf.new_path() as path:
            path.style.stroke_color = None
            path.style.fill_color = _grey(grey)
            path.move_to(_to_points(corners[0].x), _to_points(corners[0].y))
            for corner in corners[1:]:
                path.line_to(_to_points(corner.x), _to_points(corner.y))

    def circle(self, centre: Point, diameter: Length) -> None:
        """Draw a circle."""
        with self.pdf.new_path() as path:
            path.style.fill_color = None
            path.style.stroke_color = _grey(_BLACK)
            path.style.stroke_width = _to_points(_STROKE)
            path.circle(_to_points(centre.x), _to_points(centre.y), _to_points(diameter) / 2)

    def finished(self) -> bytes:
        """Return the finished document."""
        return bytes(self.pdf.output())


def _grey(share: float) -> str:
    return f"#{round(share * 255):02x}" + f"{round(share * 255):02x}" * 2


def _to_points(length: Length | Fraction) -> float:
    """Return a length in points: 1/72 inch (ISO 32000-1, 8.3.2.3)."""
    return float(length / _POINT)


def _write_cover(
    book: _PdfDocument, entries: Sequence[_Entry], size: Size, unit: Unit, first_pages: int
) -> None:
    for number, placed in enumerate(_cover_pages(entries, size)):
        page = book.new_page()
        if number == 0:
            _write_intro(book, page, unit)
        else:
            book.text(_SIDE, _TOP + mm(2), "Pieces and where they are, continued", size=_WORDS)
        for y, entry in placed:
            _write_entry(book, page, y, entry, unit, first_pages)


def _write_intro(book: _PdfDocument, page: Size, unit: Unit) -> None:
    room = page.width - 2 * _SIDE
    book.text(_SIDE, mm(19), book.title, size=_TITLE, room=room)
    side, label = (inch(2), "2 in") if unit is Unit.IN else (mm(50), "5 cm")
    left, top = _SIDE, mm(26)
    book.lines(_ring(Rect(left, top, side, side)), width=_FINE)
    book.text(left + side // 2 - mm(5), top + side // 2, label, size=_WORDS)
    beside = left + side + mm(8)
    y = book.paragraph(
        beside,
        top,
        f"Print at 100 % (“actual size”), never “fit to page”. Then measure the square: each side"
        f" must be exactly {label}. If it isn't, no piece will fit; change the printer's scale and"
        " print this page again before the rest.",
        room=page.width - _SIDE - beside,
        size=_WORDS + 1,
    )
    _write_legend(book, beside, y + mm(5))
    y = book.paragraph(_SIDE, mm(82), _JOINING_NOTE, room=room, size=_SMALL)
    book.paragraph(_SIDE, y + mm(2), _SAFETY_NOTE, room=room, size=_SMALL)
    book.text(_SIDE, _INTRO - mm(4), "Pieces and where they are", size=_WORDS + 2)


def _write_legend(book: _PdfDocument, x: Length, y: Length) -> None:
    def sample(at: Length) -> list[Line]:
        return [Line(Point(x, at), Point(x + mm(20), at))]

    words_at, down = x + mm(24), mm(5)
    book.lines(sample(y))
    book.text(words_at, y + mm(1), "cut", size=_SMALL)
    for number, fold in enumerate(Fold, 1):
        book.lines(sample(y + number * down), pattern=_PATTERNS[fold])
        means = f"{FOLD_WORDS[fold]}: score, then fold"
        book.text(words_at, y + number * down + mm(1), means, size=_SMALL)
    y += 3 * down
    book.polygon(_corners(Rect(x, y - mm("1.5"), mm(20), mm(3))))
    book.text(words_at, y + mm(1), "glue goes here", size=_SMALL)
    y += down
    book.lines(sample(y), width=_FINE, grey=_GREY)
    book.text(words_at, y + mm(1), "for joining pages", size=_SMALL)
    book.text(x, y + mm(7), "The face of each piece is towards you.", size=_SMALL)


def _write_entry(
    book: _PdfDocument, page: Size, y: Length, entry: _Entry, unit: Unit, first_pages: int
) -> None:
    words = piece_caption(entry.piece, unit)
    if entry.piece.grain is not Grain.ANY:
        words += f"; {GRAIN_WORDS[entry.piece.grain]}"
    first = first_pages + entry.page + 1
    tiling = entry.tiling
    where_at = page.width - _SIDE - mm(65)
    book.text(_SIDE, y + mm(4), words, room=where_at - _SIDE - mm(4))
    if tiling is None or tiling.pages == 1:
        book.text(where_at, y + mm(4), f"page {first}")
        return
    book.text(where_at, y + mm(4), f"pages {first} to {first + tiling.pages - 1}")
    spread = f"{_count_text(tiling.rows, 'row')}, {_count_text(tiling.columns, 'column')} of tiles"
    book.text(_SIDE, y + mm(9), spread, size=_SMALL, grey=_GREY)
    _draw_tile_map(book, page.width - _SIDE - _MAP, y + mm(1), tiling, first)


def _count_text(count: int, what: str) -> str:
    return f"{count} {what}{'s' if count > 1 else ''}"


def _draw_tile_map(book: _PdfDocument, x: Length, y: Length, tiling: _Tiling, first: int) -> None:
    """Draw a piece small, parted into its tiles with the number of each one's page."""
    piece = tiling.piece
    longest = max(piece.width, piece.height)

    def small(length: Length) -> Length:
        return length * _MAP // longest

    def place(point: Point) -> Point:
        return Point(x + small(point.x), y + small(point.y))

    outline = [place(corner) for corner in piece.outline]
    book.polygon(outline)
    book.lines(list(map(Line, outline, outline[1:] + outline[:1])), width=_FINE)
    right, bottom = piece.width, piece.height
    parts = []
    for column in range(1, tiling.columns):
        at = tiling.tile(0, column).x
        parts.append(Line(place(Point(at, 0)), place(Point(at, bottom))))
    for row in range(1, tiling.rows):
        at = tiling.tile(row, 0).y
        parts.append(Line(place(Point(0, at)), place(Point(right, at))))
    book.lines(parts, width=_FINE, grey=_GREY)
    for number in range(tiling.pages):
        tile = tiling.tile(*divmod(number, tiling.columns))
        shown = Rect(tile.x, tile.y, tile.width - OVERLAP, tile.height - OVERLAP)
        left, top = place(Point(shown.x, shown.y))
        across = min(shown.right, right) - shown.x
        down = min(shown.bottom, bottom) - shown.y
        if small(min(across, down)) >= _MIN_TILE_ON_MAP:
            book.text(left + mm("0.6"), top + mm("2.8"), str(first + number), size=_TINY)


def _draw_placed_piece(book: _PdfDocument, spot: _PlacedPiece, unit: Unit) -> None:
    piece = spot.piece
    left, top = _SIDE + spot.x, _TOP + spot.y
    _draw_part(book, piece, Rect(0, 0, piece.width, piece.height), Point(left, top))
    words = piece_caption(piece, unit)
    room = _cell_width(piece) - _GAP
    book.text(left, top + piece.height + mm("4.5"), words, size=_SMALL, room=room)


def _draw_tile(book: _PdfDocument, tiling: _Tiling, row: int, column: int, unit: Unit) -> None:
    page = book.new_page(lying=tiling.landscape)
    words = piece_caption(tiling.piece, unit)
    if tiling.pages > 1:
        where = f"row {row + 1} of {tiling.rows}, column {column + 1} of {tiling.columns}"
        book.text(page.width - _SIDE, mm(14), where, right=True)
    book.text(_SIDE, mm(14), words, room=page.width - 2 * _SIDE - mm(62))
    _draw_part(book, tiling.piece, tiling.tile(row, column), Point(_SIDE, _TOP))
    _draw_joining_marks(book, tiling, row, column)


def _draw_joining_marks(book: _PdfDocument, tiling: _Tiling, row: int, column: int) -> None:
    """Draw where the tile is trimmed, where its neighbours' edges lie, and crosses on both."""
    wide, high = tiling.window
    left, top = _SIDE, _TOP
    right, bottom = left + wide, top + high
    half = OVERLAP // 2
    lines: list[Line] = []
    crosses: list[Point] = []
    if column > 0:
        lines.append(Line(Point(left, top), Point(left, bottom)))
        crosses += [Point(left + half, top + high * part // 4) for part in (1, 3)]
        book.text(left - mm(2), bottom - mm(5), "trim here", size=_TINY, grey=_GREY, up=True)
    if column < tiling.columns - 1:
        at = right - OVERLAP
        lines.append(Line(Point(at, top), Point(at, bottom)))
        crosses += [Point(right - half, top + high * part // 4) for part in (1, 3)]
        text = f"column {column + 2} begins at the grey line"
        book.text(right + mm(4), bottom - mm(5), text, size=_TINY, grey=_GREY, up=True)
    if row > 0:
        lines.append(Line(Point(left, top), Point(right, top)))
        crosses += [Point(left + wide * part // 4, top + half) for part in (1, 3)]
        book.text(left + mm(5), top - mm("1.2"), "trim here", size=_TINY, grey=_GREY)
    if row < tiling.rows - 1:
        at = bottom - OVERLAP
        lines.append(Line(Point(left, at), Point(right, at)))
        crosses += [Point(left + wide * part // 4, bottom - half) for part in (1, 3)]
        text = f"row {row + 2} begins at the grey line"
        book.text(left + mm(5), bottom + mm(4), text, size=_TINY, grey=_GREY)
    arm = mm(3)
    for x, y in crosses:
        lines.append(Line(Point(x - arm, y), Point(x + arm, y)))
        lines.append(Line(Point(x, y - arm), Point(x, y + arm)))
    book.lines(lines, width=_FINE, grey=_GREY)


def _draw_part(book: _PdfDocument, piece: Piece, part: Rect, at: Point) -> None:
    """Draw what a part of a piece holds, that part's corner lying `at` a place on the page."""

    def place(point: Point) -> Point:
        return Point(at.x + point.x - part.x, at.y + point.y - part.y)

    def clipped(lines: Sequence[Line]) -> list[Line]:
        inside = (_clip_line(line, part) for line in lines)
        return [Line(place(line.start), place(line.end)) for line in inside if line]

    window = (_to_points(at.x), _to_points(at.y), _to_points(part.width), _to_points(part.height))
    for area in piece.glue:
        with book.pdf.rect_clip(*window):
            book.polygon([place(corner) for corner in area])
    for fold, pattern in _PATTERNS.items():
        scores = [score.line for score in piece.scores if score.fold is fold]
        book.lines(clipped(scores), pattern=pattern)
    corners = piece.outline
    edges = list(map(Line, corners, corners[1:] + corners[:1]))
    centres = []
    for hole in piece.holes:
        x, y = hole.centre
        arm = hole.diameter // 4
        centres += [
            Line(Point(x - arm, y), Point(x + arm, y)),
            Line(Point(x, y - arm), Point(x, y + arm)),
        ]
        reach = hole.diameter // 2
        across = part.x - reach < x < part.right + reach
        if across and part.y - reach < y < part.bottom + reach:
            with book.pdf.rect_clip(*window):
                book.circle(place(hole.centre), hole.diameter)
    book.lines(clipped(centres), width=_FINE)
    book.lines(clipped([*edges, *piece.slits]))


def _clip_line(line: Line, part: Rect) -> Line | None:
    """Return what of a line lies in a rectangle (Liang and Barsky 1984), to a fine unit."""
    (x, y), (x2, y2) = line
    across, down = x2 - x, y2 - y
    first, last = Fraction(0), Fraction(1)
    sides = (
        (-across, x - part.x),
        (across, part.right - x),
        (-down, y - part.y),
        (down, part.bottom - y),
    )
    for outwards, room in sides:
        if outwards == 0:
            if room < 0:
                return None
        elif outwards < 0:
            first = max(first, Fraction(room, outwards))
        else:
            last = min(last, Fraction(room, outwards))
    if first >= last:
        return None
    return Line(
        Point(x + round(first * across), y + round(first * down)),
        Point(x + round(last * across), y + round(last * down)),
    )


def _corners(rect: Rect) -> list[Point]:
    return [
        Point(rect.x, rect.y),
        Point(rect.right, rect.y),
        Point(rect.right, rect.bottom),
        Point(rect.x, rect.bottom),
    ]


def _ring(rect: Rect) -> list[Line]:
    corners = _corners(rect)
    return list(map(Line, corners, corners[1:] + corners[:1]))
