"""Templates read back by other programs and measured.

Sources stand beside each check.
"""

from __future__ import annotations

import io
import itertools
import xml.etree.ElementTree as ET
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction

import pdfplumber
import pypdf
import pytest

from nester.core.lengths import UNITS_PER_MM, Length, Unit, cm, inch, mm
from nester.core.piece import Piece
from nester.designs.parts.lid import lid
from nester.drawing.templates.dxf import template_dxf
from nester.drawing.templates.pdf import OVERLAP, template_pdf
from nester.drawing.templates.svg import template_svg

MM_PER_POINT = 25.4 / 72  # ISO 32000-1, 8.3.2.3: a unit of default user space is 1/72 inch
PIECE = lid("lid", "lid", cm(24), cm(44), mm(5), cm(3))


@pytest.mark.parametrize(
    ("page", "unit", "width", "height", "side"),
    [
        ("A4", Unit.MM, 210, 297, 50),  # ISO 216: A4 is 210 × 297 mm
        ("Letter", Unit.IN, 215.9, 279.4, 50.8),  # ANSI/ASME Y14.1: size A is 8½ × 11 in
    ],
)
def test_the_page_and_its_control_square(
    page: str, unit: Unit, width: float, height: float, side: float
) -> None:
    first = pdfplumber.open(io.BytesIO(template_pdf([PIECE], page, unit))).pages[0]
    assert float(first.width) * MM_PER_POINT == pytest.approx(width, abs=0.005)
    assert float(first.height) * MM_PER_POINT == pytest.approx(height, abs=0.005)
    square = first.lines[:4]
    across = max(ln["x1"] for ln in square) - min(ln["x0"] for ln in square)
    down = max(ln["bottom"] for ln in square) - min(ln["top"] for ln in square)
    assert across * MM_PER_POINT == pytest.approx(side, abs=0.001)
    assert down * MM_PER_POINT == pytest.approx(side, abs=0.001)


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_an_edge_split_over_tiles_adds_up(page: str) -> None:
    # Each tile but the last goes on a step (window less overlap) further; what the tiles show
    # of the left edge, laid at their steps, covers it from end to end and nothing beyond.
    pages = pdfplumber.open(io.BytesIO(template_pdf([PIECE], page))).pages[1:]
    covered: list[tuple[float, float]] = []
    row_of: dict[int, float] = {}
    for number, tile in enumerate(pages):
        said = tile.extract_text().split("row ")[1].split()
        row, column = int(said[0]), int(said[4])
        window = float(tile.height) * MM_PER_POINT - 19 - 10
        row_of[number] = (row - 1) * (window - OVERLAP / UNITS_PER_MM)
        if column > 1:
            continue
        for line in tile.lines:
            black = line["stroking_color"] in (0, 0.0, (0,), (0.0,))
            upright = abs(line["x0"] * MM_PER_POINT - 10) < 0.01 and line["x0"] == line["x1"]
            if black and upright:
                top, bottom = (
                    line[k] * MM_PER_POINT - 19 + row_of[number] for k in ("top", "bottom")
                )
                covered.append((top, bottom))
    covered.sort()
    assert len(covered) >= 2
    assert covered[0][0] == pytest.approx(0, abs=0.01)
    assert covered[-1][1] == pytest.approx(PIECE.height / UNITS_PER_MM, abs=0.01)
    shared = sum(a[1] - b[0] for a, b in itertools.pairwise(covered))
    whole = sum(b - a for a, b in covered) - shared
    assert whole == pytest.approx(505, abs=0.01)
    for (_, end), (start, _) in itertools.pairwise(covered):
        assert end - start == pytest.approx(10, abs=0.01)


def test_what_the_document_says_of_itself() -> None:
    reader = pypdf.PdfReader(io.BytesIO(template_pdf([PIECE], title="A lid")))
    catalog = reader.trailer["/Root"]
    assert reader.metadata is not None
    assert reader.metadata.title == "A lid"
    assert catalog["/Lang"] == "en"  # type: ignore[index]  # ISO 32000-1, 14.9.2: language
    # ISO 32000-1, table 150: PrintScaling None asks the viewer not to scale when it prints.
    assert catalog["/ViewerPreferences"]["/PrintScaling"] == "/None"  # type: ignore[index]
    fonts = [f.get_object() for page in reader.pages for f in page["/Resources"]["/Font"].values()]  # type: ignore[index]
    assert fonts
    for font in fonts:
        described = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in described  # ISO 32000-1, 9.9: the font is embedded
    assert not [image for page in reader.pages for image in page.images]


def pairs(dxf: str) -> Iterator[tuple[int, str]]:
    """Read the group codes of a DXF file: a code on one line, its value on the next."""
    rows = iter(dxf.splitlines())
    for code in rows:
        yield int(code), next(rows)


def entities(dxf: str) -> list[dict[int, list[str]]]:
    found: list[dict[int, list[str]]] = []
    section = ""
    for code, value in pairs(dxf):
        if (code == 2 and section == "SECTION") or (code == 0 and value in ("SECTION", "ENDSEC")):
            section = value
        elif section == "ENTITIES":
            if code == 0:
                found.append(defaultdict(list))
            found[-1][code].append(value.strip())
    return found


def header(dxf: str, name: str) -> str:
    read = pairs(dxf)
    for code, value in read:
        if (code, value) == (9, name):
            return next(read)[1].strip()
    raise AssertionError(name)


@pytest.mark.parametrize("side", [cm(24), inch("113/16"), mm("99.999")])
def test_dxf_in_millimetres(side: Length) -> None:
    made = template_dxf([Piece.rectangle("mat", "mat", side, 2 * side)])
    # DXF reference, header section: $INSUNITS 4 means millimetres; AC1024 is release 2010.
    assert header(made, "$INSUNITS") == "4"
    assert header(made, "$ACADVER") == "AC1024"
    (outline,) = (e for e in entities(made) if e[0] == ["LWPOLYLINE"])
    # DXF reference, LWPOLYLINE: 10 and 20 are a corner's x and y, 70 with bit 1 closes the line.
    assert outline[8] == ["CUT"]
    assert int(outline[70][0]) & 1
    xs, ys = (list(map(float, outline[code])) for code in (10, 20))
    assert max(xs) - min(xs) == pytest.approx(side / UNITS_PER_MM, abs=1e-9)
    assert max(ys) - min(ys) == pytest.approx(2 * side / UNITS_PER_MM, abs=1e-9)


def test_svg_in_millimetres() -> None:
    # SVG 1.1, 7.10: "mm" in width and height; 7.7: viewBox maps user units onto them.
    root = ET.fromstring(template_svg(PIECE))  # noqa: S314
    scale = Fraction(root.get("width", "").removesuffix("mm")) / Fraction(
        root.get("viewBox", "").split()[2]
    )
    assert scale == 1
    polygon = root.find("{*}g[@id='cut']/{*}polygon")
    assert polygon is not None
    xs = [Fraction(pair.split(",")[0]) for pair in polygon.get("points", "").split()]
    assert (max(xs) - min(xs)) * scale == 240 + 5 + 2 * 30
