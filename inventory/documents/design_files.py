"""A design's drawings as files: pictures of its pieces, and templates at full size."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from inventory.core.files import MayReplace, refuse_to_replace, write_files

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from nester.core.lengths import Unit
    from nester.core.piece import Piece
    from nester.designs.base.datasheet import Datasheet

__all__ = ["write_pictures", "write_templates"]


def write_pictures(
    sheet: Datasheet,
    unit: Unit,
    folder: Path | None,
    pdf: Path | None,
    may_replace: MayReplace = refuse_to_replace,
) -> None:
    """Draw each piece, and the whole where it has a section.

    Parameters
    ----------
    folder
        Where SVG pictures go; none are written if it is None.
    pdf
        The PDF with all of them; none is written if it is None.
    may_replace
        Is asked about files that are there; see `inventory.core.files.write_files`.
    """
    from nester.drawing.pictures.assembly import draw_assembly
    from nester.drawing.pictures.piece import draw_piece

    names = [*(["whole"] if sheet.section else []), *_file_names(sheet.pieces)]
    pictures = []
    if sheet.section:
        pictures.append(draw_assembly(sheet.section, unit, thickness=sheet.thickness))
    pictures += [draw_piece(piece, unit) for piece in sheet.pieces]
    files: list[tuple[Path, str | bytes]] = []
    if folder is not None:
        for name, picture in zip(names, pictures, strict=True):
            files.append((folder / f"{name}.svg", picture))
    if pdf is not None:
        from nester.drawing.canvas.pdf_pictures import pictures_pdf

        files.append((pdf, pictures_pdf(pictures, sheet.design.title)))
    write_files(files, may_replace, folders=[folder] if folder else [])


def write_templates(
    sheet: Datasheet,
    unit: Unit,
    folder: Path,
    page: str,
    may_replace: MayReplace = refuse_to_replace,
) -> list[Path]:
    """Write drawings at full size, as PDF, DXF and an SVG for each piece; return their paths.

    Parameters
    ----------
    page
        The paper in the printer, in capitals or not; see `nester.drawing.templates.pdf.PAGES`.
    may_replace
        Is asked about files that are there; see `inventory.core.files.write_files`.

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
    files: dict[Path, str | bytes] = {
        folder / "templates.pdf": document,
        folder / "templates.dxf": template_dxf(sheet.pieces, unit),
    }
    for name, piece in zip(_file_names(sheet.pieces), sheet.pieces, strict=True):
        files[folder / f"{name}.svg"] = template_svg(piece, unit)
    write_files(list(files.items()), may_replace, folders=[folder])
    return list(files)


def _file_names(pieces: Sequence[Piece]) -> list[str]:
    """Return a name for each piece's file; no two are alike, also where case doesn't count."""
    names: list[str] = []
    for number, piece in enumerate(pieces, start=1):
        plain = re.sub(r"[^\w.-]+", "-", piece.name).strip("-.")[:60]
        names.append(f"{number:02}-{plain}" if plain else f"{number:02}")
    return names
