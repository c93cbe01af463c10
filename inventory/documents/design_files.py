"""A design's drawings as files: pictures of its pieces, and templates at full size."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from inventory.core.files import make_folder, write_bytes, write_file

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from nester.core.lengths import Unit
    from nester.core.piece import Piece
    from nester.designs.base.datasheet import Datasheet

__all__ = ["write_pictures", "write_templates"]


def write_pictures(sheet: Datasheet, unit: Unit, folder: Path | None, pdf: Path | None) -> None:
    """Draw each piece, and the whole where it has a section.

    Parameters
    ----------
    folder
        Where SVG pictures go; none are written if it is None.
    pdf
        The PDF with all of them; none is written if it is None.
    """
    from nester.drawing.pictures.assembly import draw_assembly
    from nester.drawing.pictures.piece import draw_piece

    names = [*(["whole"] if sheet.section else []), *_file_names(sheet.pieces)]
    pictures = []
    if sheet.section:
        pictures.append(draw_assembly(sheet.section, unit, thickness=sheet.thickness))
    pictures += [draw_piece(piece, unit) for piece in sheet.pieces]
    if folder is not None:
        make_folder(folder)
        for name, picture in zip(names, pictures, strict=True):
            write_file(folder / f"{name}.svg", picture)
    if pdf is not None:
        from nester.drawing.canvas.pdf_pictures import pictures_pdf

        write_bytes(pdf, pictures_pdf(pictures, sheet.design.title))


def write_templates(sheet: Datasheet, unit: Unit, folder: Path, page: str) -> list[Path]:
    """Write drawings at full size, as PDF, DXF and an SVG for each piece; return their paths.

    Parameters
    ----------
    page
        The paper in the printer, in capitals or not; see `nester.drawing.templates.pdf.PAGES`.

    Raises
    ------
    Refusal
        If there is no such paper, or a file can't be written.
    """
    from nester.drawing.templates.dxf import template_dxf
    from nester.drawing.templates.pdf import PAGES, template_pdf
    from nester.drawing.templates.svg import template_svg

    page_name = next((name for name in PAGES if name.casefold() == page.casefold()), page)
    document = template_pdf(sheet.pieces, page_name, unit, sheet.design.title)
    files = {"templates.dxf": template_dxf(sheet.pieces, unit)}
    for name, piece in zip(_file_names(sheet.pieces), sheet.pieces, strict=True):
        files[f"{name}.svg"] = template_svg(piece, unit)
    make_folder(folder)
    write_bytes(folder / "templates.pdf", document)
    for name, text in files.items():
        write_file(folder / name, text)
    return [folder / "templates.pdf", *(folder / name for name in files)]


def _file_names(pieces: Sequence[Piece]) -> list[str]:
    """Return a name for each piece's file; no two are alike, also where case doesn't count."""
    names: list[str] = []
    for number, piece in enumerate(pieces, start=1):
        plain = re.sub(r"[^\w.-]+", "-", piece.name).strip("-.")[:60]
        names.append(f"{number:02}-{plain}" if plain else f"{number:02}")
    return names
