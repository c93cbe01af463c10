"""A plan's set of documents in one piece: PDF, HTML, a workbook."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from inventory.core.plan import Plan
from inventory.documents.format.blocks import Document
from inventory.documents.format.languages import ShopTranslator
from inventory.documents.format.pages import paginate
from inventory.documents.plan.document_set import DocumentOptions, footer_of, plan_documents
from inventory.documents.plan.lists import plan_lists
from nester.core.lengths import printable

__all__ = ["plan_html", "plan_pdf", "plan_workbook"]


def plan_pdf(
    plan: Plan,
    options: DocumentOptions,
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
        Font files for characters the built-in fonts don't have.
    documents
        Those to print, if they are made already.

    Raises
    ------
    Refusal
        If the page has another name, or a font can't be read.
    """
    from nester.drawing.canvas.fonts import FontSet
    from nester.drawing.canvas.pdf import pages_pdf

    translator = options.translator
    faces = FontSet(fonts)
    made = plan_documents(plan, options) if documents is None else documents
    pages = paginate(made, page, faces, translator, footer_of(plan, translator))
    return pages_pdf(
        pages,
        faces,
        title=_title(plan, translator),
        language=translator.language,
        made_on=plan.made_on,
    )


def plan_html(
    plan: Plan, options: DocumentOptions, documents: Sequence[Document] | None = None
) -> str:
    """Write a plan's documents as one page of HTML that needs nothing else."""
    from inventory.documents.format.html import documents_html

    translator = options.translator
    return documents_html(
        plan_documents(plan, options) if documents is None else documents,
        title=_title(plan, translator),
        language=translator.language,
        footer=footer_of(plan, translator),
        translator=translator,
    )


def plan_workbook(plan: Plan) -> bytes:
    """Return a plan's lists as a workbook."""
    from inventory.documents.format.workbook import workbook_bytes

    lists = {each.title: (each.columns, each.rows) for each in plan_lists(plan)}
    return workbook_bytes(lists, plan.made_on)


def _title(plan: Plan, translator: ShopTranslator) -> str:
    batch = (
        translator.say("Batch {batch}").format(batch=plan.batch)
        if plan.batch
        else translator.say("Plan")
    )
    return f"{batch} · {printable(plan.shop)}"
