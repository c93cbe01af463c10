"""A plan's papers: all its files in one folder."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from inventory.core.files import (
    MayReplace,
    csv_text,
    refuse_to_replace,
    write_files,
)
from inventory.core.plan import Plan, PlannedLayout
from inventory.documents.plan.document_set import DOCUMENT_KINDS, DocumentOptions, plan_documents
from inventory.documents.plan.lists import plan_lists
from inventory.documents.plan.rendering import plan_html, plan_pdf, plan_workbook
from inventory.documents.plan.text import cut_list, plain_text, plan_summary

__all__ = ["FORMATS", "write_documents"]

FORMATS = ("pdf", "html", "xlsx", "csv", "txt", "svg")
_PICTURE = re.compile(r"[0-9]{3,}-[SK]-[0-9]+(?:-[a-z0-9-]+)?\.svg")
"""The name of a picture as `_picture_name` makes it."""


def write_documents(
    plan: Plan,
    folder: Path,
    options: DocumentOptions,
    *,
    page: str = "A4",
    fonts: Sequence[Path] = (),
    formats: Iterable[str] = FORMATS,
    each: bool = False,
    may_replace: MayReplace = refuse_to_replace,
) -> list[Path]:
    """Write a plan's files and return their paths.

    All are made before the first is written, so that a refusal leaves nothing behind.  Files of
    the same names are replaced and pictures of an earlier plan removed, if they may be; nothing
    else is.

    Parameters
    ----------
    options, page, fonts
        For the set of documents; see `inventory.documents.plan.rendering.plan_pdf`.
    formats
        Of `FORMATS`: the set of documents as PDF and as HTML; the lists as a workbook and as CSV;
        the plan and its cut list as text; a picture of each layout as SVG.
    each
        Each kind of document as a separate PDF, instead of all in one.
    may_replace
        Is asked about files that are there; see `inventory.core.files.write_files`.
    """
    wanted = set(formats)
    shown = plan.current() if options.left is None else plan.of_copies(options.left)
    name = f"batch-{plan.batch}" if plan.batch else "plan"
    documents = plan_documents(plan, options) if wanted & {"pdf", "html"} else []
    made: dict[Path, str | bytes] = {}
    if "pdf" in wanted:
        parts = {f"{name}.pdf": documents}
        if each:
            parts = {
                f"{name}-{k}.pdf": [d for d in documents if d.kind == k] for k in DOCUMENT_KINDS
            }
        for file, ours in parts.items():
            if ours:
                printed = plan_pdf(plan, options, page=page, fonts=fonts, documents=ours)
                made[folder / file] = printed
    if "html" in wanted:
        made[folder / f"{name}.html"] = plan_html(plan, options, documents).encode()
    if "xlsx" in wanted:
        made[folder / f"{name}.xlsx"] = plan_workbook(shown)
    if "csv" in wanted:
        for plan_list in plan_lists(shown):
            made[folder / f"{plan_list.name}.csv"] = csv_text(
                plan_list.columns, plan_list.rows
            ).encode()
    if "txt" in wanted:
        made[folder / "plan.txt"] = plain_text(plan_summary(shown, options.pace)).encode()
        made[folder / "cut-list.txt"] = plain_text(*cut_list(shown)).encode()
    pictures, old = folder / "layouts", list[Path]()
    if "svg" in wanted:
        for layout in shown.layouts:
            made[pictures / _picture_name(layout)] = _picture(shown, layout).encode()
        if pictures.is_dir():
            old = [path for path in pictures.iterdir() if _PICTURE.fullmatch(path.name)]
    write_files(
        list(made.items()),
        may_replace,
        folders=[folder, pictures] if "svg" in wanted else [folder],
        remove=[path for path in old if path not in made],
    )
    return list(made)


def _picture_name(layout: PlannedLayout) -> str:
    paper = re.sub(r"[^a-z0-9]+", "-", layout.sheet.paper.casefold()).strip("-")[:40]
    return f"{layout.number:03}-{layout.sheet.label}{'-' if paper else ''}{paper}.svg"


def _picture(plan: Plan, layout: PlannedLayout) -> str:
    from nester.drawing.pictures.layout import draw_layout

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
