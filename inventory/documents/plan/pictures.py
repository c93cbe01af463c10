"""Pictures of a cutting plan's layouts as files."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from nester.core.lengths import Unit
    from nester.core.problem import CuttingPlan, Problem

__all__ = ["draw_answer"]


def draw_answer(problem: Problem, answer: CuttingPlan, unit: Unit, folder: Path) -> None:
    """Draw each layout into a folder; pictures of an earlier answer are removed."""
    from inventory.core.files import make_folder, write_file
    from nester.drawing.pictures.layout import draw_layout

    make_folder(folder)
    pictures = set()
    stock = {item.name: item for item in problem.stock}
    for number, layout in enumerate(answer.layouts, start=1):
        sheet = stock[layout.stock]
        title = f"Layout {number}: {' '.join(filter(None, [sheet.name, sheet.paper]))}"
        drawing = draw_layout(
            layout, sheet, unit, paper_colour=None, title=title, trimmer=problem.trimmer
        )
        picture = folder / f"{number:03}.svg"
        write_file(picture, drawing)
        pictures.add(picture)
    for old in folder.iterdir():
        if re.fullmatch(r"[0-9]{3,}\.svg", old.name) and old not in pictures:
            old.unlink()
