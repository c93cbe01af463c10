"""What the records add to a plan: ribbon and the like, what is missing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session

from inventory.core.files import MayReplace, refuse_to_replace
from inventory.core.plan import Plan
from inventory.database.tables.orders import Batch
from inventory.documents.format.label_grid import read_grid
from inventory.documents.format.languages import ShopTranslator, translator_for
from inventory.documents.plan.document_set import DOCUMENT_KINDS, DocumentOptions
from inventory.documents.plan.translation import piece_name
from inventory.orders.orders import get_order, order_consumables
from inventory.production.pace import shop_pace
from inventory.production.progress import layouts_of_day, list_remaining
from inventory.production.spoiling import spoiled_pieces
from inventory.stock.lookup import get_batch, plan_of
from inventory.stock.offcut_marks import labels_of_single_offcuts
from nester.core.errors import Refusal
from nester.core.lengths import format_area
from nester.designs.base.design import Measure
from nester.designs.base.totals import total_consumables

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from inventory.database.shop_file import ShopFile

__all__ = ["DocumentRequest", "with_shop_data", "write_batch_documents"]


@dataclass(frozen=True)
class DocumentRequest:
    """Which documents of a batch are wanted, in texts as a face reads them.

    Attributes
    ----------
    language
        As `inventory.documents.format.languages.translator_for` reads it.
    labels, label_margins, label_gaps
        The sheet of labels; as `inventory.documents.format.label_grid.read_grid` reads them.
    only
        Kinds of documents; all, if it is empty.
    formats
        Of `inventory.documents.plan.files.FORMATS`; if it is empty, all of them, or those of
        documents if only some kinds are wanted, as lists, text and pictures are of the whole plan.
    page, fonts, each
        As `inventory.documents.plan.files.write_documents` takes them.
    left
        Take out and cut only what is still to be cut.
    day
        Only what is still to be cut on this day of the batch.
    """

    language: str = "en"
    labels: str = "3x8"
    label_margins: str = "7mm,12mm"
    label_gaps: str = "2.5mm,0mm"
    only: Sequence[str] = ()
    formats: Sequence[str] = ()
    page: str = "A4"
    fonts: Sequence[Path] = ()
    each: bool = False
    left: bool = False
    day: int | None = None


def write_batch_documents(
    shop_file: ShopFile,
    number: int,
    folder: Path,
    request: DocumentRequest,
    may_replace: MayReplace = refuse_to_replace,
) -> list[Path]:
    """Write the documents of a batch into a folder and return their paths.

    Parameters
    ----------
    may_replace
        Is asked about files that are there; see `inventory.core.files.write_files`.

    Raises
    ------
    Refusal
        If there is no such batch, a text can't be read, or a file can't be written.
    """
    from inventory.documents.plan.files import FORMATS, write_documents
    from nester.drawing.canvas.fonts import FontSet

    options = DocumentOptions(
        kinds=tuple(kind for kind in DOCUMENT_KINDS if not request.only or kind in request.only),
        translator=translator_for(request.language),
        grid=read_grid(request.labels, request.label_margins, request.label_gaps),
    )
    with shop_file.read() as session:
        batch = get_batch(session, number)
        plan = plan_of(batch)
        options = with_shop_data(options, session, batch, plan, left=request.left, day=request.day)
    FontSet(request.fonts)  # is refused if it can't be read, also where no PDF is written
    formats = request.formats or (("pdf", "html") if request.only else FORMATS)
    return write_documents(
        plan,
        folder,
        options,
        page=request.page,
        fonts=request.fonts,
        formats=formats,
        each=request.each,
        may_replace=may_replace,
    )


def with_shop_data(
    options: DocumentOptions,
    session: Session,
    batch: Batch,
    plan: Plan,
    *,
    left: bool = False,
    day: int | None = None,
) -> DocumentOptions:
    """Return options with what the shop's records hold of a batch.

    Parameters
    ----------
    left, day
        Take out and cut only what is still to be cut, of all days or of one.

    Raises
    ------
    Refusal
        If nothing is left to cut on that day.
    """
    missing: dict[int, dict[str, int]] = defaultdict(dict)
    for loss in spoiled_pieces(session, batch=batch.id):
        name = plan.parts[loss.part].piece.name
        missing[loss.order_id][name] = missing[loss.order_id].get(name, 0) + loss.quantity
    copies = None
    if left or day is not None:
        chosen = None if day is None else layouts_of_day(session, batch.id, day)
        copies = {
            remaining.layout.number: remaining.copies
            for remaining in list_remaining(session, batch, plan)
            if chosen is None or remaining.layout.number in chosen
        }
    return replace(
        options,
        pace=shop_pace(session),
        labels=labels_of_single_offcuts(session, batch, plan),
        extras=_extras(session, plan, options.translator),
        missing=dict(missing),
        left=copies,
    )


def _extras(session: Session, plan: Plan, translator: ShopTranslator) -> dict[int, list[str]]:
    """Say what else each order needs; nothing if its design can't be made any more."""
    extras: dict[int, list[str]] = {}
    for order in plan.orders:
        if not order.made:
            continue
        try:
            found = order_consumables(session, get_order(session, order.number))
        except Refusal:
            continue
        pieces = [item for item in found if item.measure is Measure.LENGTH]
        lines = [
            f"{piece.quantity * order.copies} × {translator.say(piece.name)},"
            f" {translator.length(piece.amount, plan.unit)}:"
            f" {piece_name(piece.use, translator)}"
            for piece in pieces
        ]
        for total in total_consumables(
            item for item in found if item.measure is not Measure.LENGTH
        ):
            amount = total.amount * order.copies
            area = total.measure is Measure.AREA
            quantity = (
                format_area(amount, plan.unit).replace(".", translator.decimal_mark)
                if area
                else f"{amount} ×"
            )
            lines.append(f"{quantity} {translator.say(total.name)}")
        extras[order.number] = lines
    return extras
