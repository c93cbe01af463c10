"""Pictures of a cutting plan's layouts as files."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from inventory.core.files import MayReplace, refuse_to_replace, write_files

if TYPE_CHECKING:
    from pathlib import Path

    from nester.core.lengths import Unit
    from nester.core.problem import CuttingPlan, Problem

__all__ = ["draw_answer", "pictures_in"]


def draw_answer(
    problem: Problem,
    answer: CuttingPlan,
    unit: Unit,
    folder: Path,
    may_replace: MayReplace = refuse_to_replace,
) -> None:
    """Draw each layout into a folder; pictures of an earlier answer are removed.

    Parameters
    ----------
    may_replace
        Is asked about pictures that are there; see `inventory.core.files.write_files`.
    """
    from nester.drawing.pictures.layout import draw_layout

    pictures: dict[Path, str | bytes] = {}
    stock = {item.name: item for item in problem.stock}
    for number, layout in enumerate(answer.layouts, start=1):
        sheet = stock[layout.stock]
        title = f"Layout {number}: {' '.join(filter(None, [sheet.name, sheet.paper]))}"
        pictures[folder / f"{number:03}.svg"] = draw_layout(
            layout, sheet, unit, paper_colour=None, title=title, trimmer=problem.trimmer
        )
    old = [path for path in pictures_in(folder) if path not in pictures]
    write_files(list(pictures.items()), may_replace, folders=[folder], remove=old)


def pictures_in(folder: Path) -> list[Path]:
    """Return the pictures in a folder that are named as `draw_answer` names its own."""
    if not folder.is_dir():
        return []
    return sorted(path for path in folder.iterdir() if re.fullmatch(r"[0-9]{3,}\.svg", path.name))
