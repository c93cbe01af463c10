"""Pictures as the pages of a PDF, one picture a page, as vectors."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO

__all__ = ["pictures_pdf"]

_MARGIN = 15
_CREATED = datetime(2000, 1, 1, tzinfo=UTC)
"""Written as the time of making, so that the same pictures give the same file."""
_TITLE = re.compile(r"<title>.*?</title>\s*", re.DOTALL)
_FONT = re.compile(r'font-family="[^"]*"')
_WEIGHT = re.compile(r' font-weight="[^"]*"')


def pictures_pdf(pictures: Sequence[str], title: str) -> bytes:
    """Return a PDF on A4 with each picture as large as a page holds.

    Parameters
    ----------
    pictures
        SVG documents of this package.
    title
        The document's title.
    """
    from importlib.resources import files

    from fpdf import FPDF

    pdf = FPDF(unit="mm", format="A4")
    pdf.set_creation_date(_CREATED)
    pdf.set_title(title)
    pdf.set_lang("en")
    font = files("font_source_sans_pro") / "files" / "SourceSansPro-Regular.ttf"
    pdf.add_font("text", fname=str(font))
    wide, high = pdf.w - 2 * _MARGIN, pdf.h - 2 * _MARGIN
    for picture in pictures:
        pdf.add_page()
        svg = _FONT.sub('font-family="text"', _TITLE.sub("", picture))
        svg = _WEIGHT.sub("", svg)
        svg = unicodedata.normalize("NFC", svg)
        pdf.image(
            BytesIO(svg.encode()), x=_MARGIN, y=_MARGIN, w=wide, h=high, keep_aspect_ratio=True
        )
    return bytes(pdf.output())
