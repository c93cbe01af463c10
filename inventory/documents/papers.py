"""A plan's papers: all its files in one folder."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from inventory.documents import plan_lists
from inventory.documents.files import csv_text, make_folder, write_file
from inventory.documents.plan_text import cut_list, plain_text, plan_summary
from inventory.plan import Plan, PlannedLayout

__all__ = ["write_papers"]

_PICTURE = re.compile(r"[0-9]{3,}-[SK]-[0-9]+(?:-[a-z0-9-]+)?\.svg")
"""The name of a picture as `_picture_name` makes it."""


def write_papers(plan: Plan, folder: Path) -> list[Path]:
    """Write a plan's files and return their paths.

    They are the plan as text, the cut list as text and as CSV, the lists of pieces, of what to
    take out, of what is lacking and what to buy as CSV, and a picture of each layout as SVG.
    Files of the same names are replaced; pictures of an earlier plan are removed, and nothing
    else.
    """
    pictures = folder / "layouts"
    texts = {
        folder / "plan.txt": plain_text(plan_summary(plan)),
        folder / "cut-list.txt": plain_text(*cut_list(plan)),
        folder / "cut-list.csv": _csv(plan_lists.CutRow, plan_lists.cut_rows(plan)),
        folder / "pieces.csv": _csv(plan_lists.PieceRow, plan_lists.piece_rows(plan)),
        folder / "take-out.csv": _csv(plan_lists.TakeOutRow, plan_lists.take_out_rows(plan)),
        folder / "lacking.csv": _csv(plan_lists.LackRow, plan_lists.lack_rows(plan)),
        folder / "shopping.csv": _csv(plan_lists.ShoppingRow, plan_lists.shopping_rows(plan)),
    }
    for layout in plan.layouts:
        texts[pictures / _picture_name(layout)] = _picture(plan, layout)
    make_folder(pictures)
    for path, text in texts.items():
        write_file(path, text)
    for old in pictures.iterdir():
        if _PICTURE.fullmatch(old.name) and old not in texts:
            old.unlink()
    return list(texts)


def _csv(row: type[NamedTuple], rows: Iterable[tuple[Any, ...]]) -> str:
    columns = [name.replace("_", " ") for name in row._fields]
    return csv_text(columns, rows)


def _picture_name(layout: PlannedLayout) -> str:
    paper = re.sub(r"[^a-z0-9]+", "-", layout.sheet.paper.casefold()).strip("-")[:40]
    return f"{layout.number:03}-{layout.sheet.label}{'-' if paper else ''}{paper}.svg"


def _picture(plan: Plan, layout: PlannedLayout) -> str:
    from nester.drawing.layout import draw_layout

    drawn, stock = plan.as_layout(layout)
    return draw_layout(
        drawn,
        stock,
        plan.unit,
        paper_colour=layout.sheet.swatch,
        title=f"Layout {layout.number}",
        pieces=plan.pieces_of(layout),
        trimmer=plan.trimmer,
        pattern_up=layout.sheet.pattern_up,
    )
