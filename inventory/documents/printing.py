"""A plan's set of documents as files: PDF, HTML, a workbook."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from inventory.documents import plan_lists
from inventory.documents.blocks import Document
from inventory.documents.files import csv_text, make_folder, write_bytes, write_file
from inventory.documents.flow import paginate
from inventory.documents.plan_set import KINDS, SetOptions, footer_of, plan_documents
from inventory.documents.voices import ShopVoice
from inventory.plan import Plan
from nester.measure import quotable

__all__ = ["FORMATS", "plan_html", "plan_pdf", "plan_workbook", "write_set"]

FORMATS = ("pdf", "html", "xlsx", "csv")


def plan_pdf(
    plan: Plan,
    options: SetOptions,
    *,
    page: str = "A4",
    fonts: Sequence[Path] = (),
    documents: Sequence[Document] | None = None,
) -> bytes:
    """Print a plan's documents; the same plan and options always give the same bytes.

    Parameters
    ----------
    page
        ``A4`` or ``Letter``.
    fonts
        Font files for signs that ours have not.
    documents
        Those to print, if they are made already.

    Raises
    ------
    Refusal
        If the page has another name, or a font can't be read.
    """
    from nester.drawing.faces import Faces
    from nester.drawing.press import pages_pdf

    voice = options.voice
    faces = Faces(fonts)
    made = plan_documents(plan, options) if documents is None else documents
    pages = paginate(made, page, faces, voice, footer_of(plan, voice))
    return pages_pdf(
        pages,
        faces,
        title=_title(plan, voice),
        language=voice.language,
        made_on=plan.made_on,
    )


def plan_html(plan: Plan, options: SetOptions, documents: Sequence[Document] | None = None) -> str:
    """Write a plan's documents as one page of HTML that needs nothing else."""
    from inventory.documents.web import documents_html

    voice = options.voice
    return documents_html(
        plan_documents(plan, options) if documents is None else documents,
        title=_title(plan, voice),
        language=voice.language,
        footer=footer_of(plan, voice),
        voice=voice,
    )


def plan_workbook(plan: Plan) -> bytes:
    """Return a plan's lists as a workbook."""
    from inventory.documents.workbook import workbook_bytes

    lists = {name: (_columns(row), rows) for name, (row, rows) in _lists(plan).items()}
    return workbook_bytes(lists, plan.made_on)


def write_set(
    plan: Plan,
    folder: Path,
    options: SetOptions,
    *,
    page: str = "A4",
    fonts: Sequence[Path] = (),
    formats: Iterable[str] = FORMATS,
    each: bool = False,
) -> list[Path]:
    """Write a plan's set of documents into a folder and return the paths.

    All are made before the first is written, so that a refusal leaves nothing behind.

    Parameters
    ----------
    formats
        Of `FORMATS`; csv are lists that `inventory.documents.papers` does not write.
    each
        Each kind of document as a PDF of its own, instead of all in one.
    """
    wanted = set(formats)
    name = f"batch-{plan.batch}" if plan.batch else "plan"
    documents = plan_documents(plan, options) if wanted & {"pdf", "html"} else []
    made: dict[Path, bytes] = {}
    if "pdf" in wanted:
        if each:
            for kind in KINDS:
                ours = [document for document in documents if document.kind == kind]
                if ours:
                    data = plan_pdf(plan, options, page=page, fonts=fonts, documents=ours)
                    made[folder / f"{name}-{kind}.pdf"] = data
        else:
            data = plan_pdf(plan, options, page=page, fonts=fonts, documents=documents)
            made[folder / f"{name}.pdf"] = data
    if "html" in wanted:
        made[folder / f"{name}.html"] = plan_html(plan, options, documents).encode()
    if "xlsx" in wanted:
        made[folder / f"{name}.xlsx"] = plan_workbook(plan)
    texts = {}
    if "csv" in wanted:
        for title in ("kits", "scores", "offcuts"):
            row, rows = _lists(plan)[title]
            texts[folder / f"{title}.csv"] = csv_text(_columns(row), rows)
    make_folder(folder)
    for path, data in made.items():
        write_bytes(path, data)
    for path, text in texts.items():
        write_file(path, text)
    return [*made, *texts]


def _title(plan: Plan, voice: ShopVoice) -> str:
    batch = voice.say("Batch {batch}").format(batch=plan.batch) if plan.batch else voice.say("Plan")
    return f"{batch} · {quotable(plan.shop)}"


def _columns(row: type[NamedTuple]) -> list[str]:
    return [name.replace("_", " ") for name in row._fields]


def _lists(plan: Plan) -> dict[str, tuple[type[NamedTuple], Iterable[Sequence[Any]]]]:
    return {
        "take out": (plan_lists.TakeOutRow, plan_lists.take_out_rows(plan)),
        "cuts": (plan_lists.CutRow, plan_lists.cut_rows(plan)),
        "pieces": (plan_lists.PieceRow, plan_lists.piece_rows(plan)),
        "offcuts": (plan_lists.OffcutRow, plan_lists.offcut_rows(plan)),
        "scores": (plan_lists.ScoringRow, plan_lists.scoring_rows(plan)),
        "kits": (plan_lists.KitRow, plan_lists.kit_rows(plan)),
        "lacking": (plan_lists.LackRow, plan_lists.lack_rows(plan)),
        "to buy": (plan_lists.ShoppingRow, plan_lists.shopping_rows(plan)),
    }
