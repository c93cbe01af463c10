"""`quirebox batch`: orders planned together against the stash, then cut."""

from __future__ import annotations

from collections import Counter
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    JsonFlag,
    Page,
    PageOption,
    SecondsOption,
    command_words,
    format_count,
    group,
    searching_in,
    shop_file_of,
)
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile

app = group("Batches: orders cut together, from the plan to the last offcut.")

NumberArgument = Annotated[int, typer.Argument(help="The number of a batch.")]


@app.command("plan")
def plan(
    context: typer.Context,
    orders: Annotated[
        list[int] | None,
        typer.Argument(metavar="ORDER", help="Numbers of orders; all confirmed ones if none."),
    ] = None,
    cuts: CutsOption = Cuts.STRAIGHT,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    draft: Annotated[
        bool,
        typer.Option("--draft", help="Reserve nothing until 'quirebox batch confirm'."),
    ] = False,
    substitutes: Annotated[
        bool,
        typer.Option(
            "--substitutes",
            help="Orders that can't be made may be made of papers that stand in for theirs.",
        ),
    ] = False,
    ignore_grain: Annotated[
        bool, typer.Option("--ignore-grain", help="Let pieces lie as they may, this time.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """Plan orders against the stash, and reserve what the plan takes.

    Orders that the stash can't make whole take nothing; the plan says what they lack and what to
    buy. 'quirebox batch drop' gives a plan up again.

    \b
    Examples:
      quirebox batch plan
      quirebox batch plan 3 5 8 --cuts free --effort thorough
      quirebox batch plan --draft
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.documents.plan.text import plan_summary
    from inventory.production.pace import shop_pace
    from inventory.production.planning import plan_batch
    from inventory.views.plan import plan_as_json

    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, seconds) as search:
            made = plan_batch(
                shop_file,
                orders or [],
                cuts=cuts,
                effort=effort,
                draft=draft,
                substitutes=substitutes,
                ignore_grain=ignore_grain,
                today=date.today(),
                **search,
            )
        with shop_file.read() as session:
            pace = shop_pace(session)
    if as_json:
        print_json(plan_as_json(made))
        return
    console().print(plan_summary(made, pace))
    if made.batch and draft:
        then = command_words(context, f"batch confirm {made.batch}")
        typer.echo(f"Nothing is reserved yet; next: {then}")
    elif made.batch:
        then = command_words(context, f"batch steps {made.batch}")
        typer.echo(f"Next: {then}, or batch papers {made.batch}")


@app.command("confirm")
def confirm(
    context: typer.Context,
    number: NumberArgument,
    again: Annotated[
        bool,
        typer.Option("--again", help="If the stash has changed, plan the same orders again."),
    ] = False,
) -> None:
    """Confirm a draft: what its plan takes is reserved, its orders are planned.

    If the stash no longer has it, what changed is said, and nothing is reserved.

    \b
    Example:
      quirebox batch confirm 2
    """
    from inventory.cli.shared.terminal import warn
    from inventory.production.booking import StashChanged
    from inventory.production.planning import confirm_batch, replan_draft
    from nester.core.errors import Refusal

    with shop_file_of(context) as shop_file:
        try:
            with shop_file.begin() as session:
                confirm_batch(session, number)
        except StashChanged as changed:
            if not again:
                words = f"quirebox batch confirm {number} --again"
                raise Refusal(f"{changed} with '{words}'") from None
            with searching_in(shop_file, None) as search:
                made = replan_draft(shop_file, number, today=date.today(), **search)
            warn(f"{changed}: that is done now")
            number = made.batch or 0
    typer.echo(f"Batch {number} is confirmed" if number else "No order can be made any more")


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all batches, the newest first."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.core.money import format_money
    from inventory.production.progress import list_batches
    from inventory.stock.lookup import plan_of

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        batches = [(one, plan_of(one)) for one in list_batches(session)]
    if as_json:
        print_json(
            [
                {
                    "number": one.id,
                    "made_at": one.made_at.isoformat(timespec="seconds"),
                    "status": str(one.status),
                    "cuts": str(one.cuts),
                    "orders": [order.number for order in its_plan.orders if order.made],
                    "layouts": len(its_plan.layouts),
                    "cost": str(its_plan.cost),
                }
                for one, its_plan in batches
            ]
        )
        return
    from inventory.documents.format.terminal_tables import table

    numbers = frozenset({"Batch", "Layouts", "Paper"})
    shown = table(
        "Batches", "Batch", "Planned", "Status", "Cuts", "Orders", "Layouts", "Paper", right=numbers
    )
    for one, its_plan in batches:
        orders = ", ".join(str(order.number) for order in its_plan.orders if order.made)
        shown.add_row(
            str(one.id),
            one.made_at.astimezone().strftime("%Y-%m-%d %H:%M"),
            one.status,
            one.cuts,
            orders,
            str(len(its_plan.layouts)),
            format_money(its_plan.cost, its_plan.currency),
        )
    console().print(shown if batches else "No batches; plan one with 'quirebox batch plan'.")


def _plan_of(context: typer.Context, number: int) -> Plan:
    from inventory.stock.lookup import get_batch, plan_of

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        return plan_of(get_batch(session, number))


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show a batch's plan: what to take out, what comes of it, what waits, what to buy.

    \b
    Example:
      quirebox batch show 1
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.documents.format.terminal_tables import table
    from inventory.documents.plan.text import plan_summary, tally
    from inventory.production.pace import shop_pace
    from inventory.production.progress import list_remaining
    from inventory.production.spoiling import spoiled_pieces
    from inventory.stock.lookup import get_batch, plan_of
    from inventory.views.plan import plan_as_json

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        batch = get_batch(session, number)
        made = plan_of(batch)
        left = list_remaining(session, batch, made)
        lost = spoiled_pieces(session, batch=number)
        pace = shop_pace(session)
    missing: Counter[tuple[int, str]] = Counter()
    for one in lost:
        missing[one.order_id, made.parts[one.part].piece.name] += one.quantity
    if as_json:
        print_json(
            {
                **plan_as_json(made),
                "status": str(batch.status),
                "mends": batch.mends_id,
                "left": [
                    {"layout": each.layout.number, "copies": len(each.copies)} for each in left
                ],
                "missing": [
                    {"order": order, "piece": piece, "quantity": quantity}
                    for (order, piece), quantity in sorted(missing.items())
                ],
            }
        )
        return
    console().print(plan_summary(made, pace))
    if batch.status == "open":
        right = frozenset({"Layout", "Copies"})
        shown = table("Left to cut", "Layout", "Copies", "From", "Pieces", right=right)
        for each in left:
            pieces = tally(made.part_of(spot).piece.name for spot in each.layout.spots)
            sheet = each.layout.sheet.label
            shown.add_row(str(each.layout.number), str(len(each.copies)), sheet, pieces)
        console().print(shown)
    for (order, piece), quantity in sorted(missing.items()):
        typer.echo(f"Order {order} lacks {quantity} × {piece}, spoiled")
    if missing:
        typer.echo(f"Next: {command_words(context, f'batch mend {number}')}")


@app.command("steps")
def steps(
    context: typer.Context,
    number: NumberArgument,
    layout: Annotated[
        int | None, typer.Option("--layout", help="Only the layout of this number.")
    ] = None,
    picture: Annotated[
        bool, typer.Option("--picture", help="Draw each layout before its cuts.")
    ] = False,
) -> None:
    """Print the cut list: layout by layout, the cuts in the order they are made.

    \b
    Example:
      quirebox batch steps 1 --layout 3 --picture
    """
    from inventory.cli.shared.terminal import console
    from inventory.documents.plan.text import cut_list
    from nester.core.errors import Refusal

    made = _plan_of(context, number)
    if layout is not None and not 1 <= layout <= len(made.layouts):
        raise Refusal(
            f"batch {number} has no layout {layout}; they are numbered from 1 to"
            f" {len(made.layouts)}"
        )
    terminal = console()
    for part in cut_list(made, layout, pictures=picture):
        terminal.print(part)


class _Format(StrEnum):
    PDF = "pdf"
    HTML = "html"
    XLSX = "xlsx"
    CSV = "csv"
    TXT = "txt"
    SVG = "svg"


class _DocumentChoice(StrEnum):
    SUMMARY = "summary"
    TAKE_OUT = "take-out"
    CUT = "cut"
    SCORE = "score"
    KIT = "kit"
    LABELS = "labels"


@app.command("papers")
def papers(
    context: typer.Context,
    number: NumberArgument,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FOLDER", help="Where to.  [default: batch-NUMBER]"),
    ] = None,
    page: PageOption = Page.A4,
    formats: Annotated[
        list[_Format] | None,
        typer.Option(
            "--format",
            help="pdf: to print; html: to read on a phone; xlsx, csv: the lists as data;"
            " txt: the plan and the cuts as text; svg: a picture of each layout.",
            show_default="all of them; pdf and html with --only",
        ),
    ] = None,
    only: Annotated[
        list[_DocumentChoice] | None,
        typer.Option("--only", help="Only this part of the set.", show_default="the whole set"),
    ] = None,
    each: Annotated[
        bool, typer.Option("--each", help="Each part of the set as a PDF of its own.")
    ] = False,
    left: Annotated[
        bool, typer.Option("--left", help="Take out and cut only what is left to cut.")
    ] = False,
    language: Annotated[
        str, typer.Option("--language", help="The language of the documents: en or de.")
    ] = "en",
    labels: Annotated[
        str,
        typer.Option("--labels", metavar="COLUMNSxROWS", help="Labels on a sheet of labels."),
    ] = "3x8",
    label_margins: Annotated[
        str,
        typer.Option(
            "--label-margins",
            metavar="SIDE,TOP",
            help="Left free of labels at the sides, and above and below.",
        ),
    ] = "7mm,12mm",
    label_gaps: Annotated[
        str,
        typer.Option(
            "--label-gaps", metavar="ACROSS,DOWN", help="Between labels, across and down."
        ),
    ] = "2.5mm,0mm",
    fonts: Annotated[
        list[Path] | None,
        typer.Option("--font", metavar="FILE", help="A font for signs that ours have not."),
    ] = None,
) -> None:
    """Write a plan's papers: the set to print or to read on a phone, lists, pictures of layouts.

    The set has a summary with what to heed, the list of what to take out, a cut sheet for each
    layout, score and fold sheets, a kit list for each order, and labels.

    \b
    Examples:
      quirebox batch papers 1 --into week-48
      quirebox batch papers 1 --page Letter --format pdf --each
      quirebox batch papers 1 --only labels --labels 3x7 --label-margins 7mm,15mm
    """
    from inventory.documents.format.label_grid import read_grid
    from inventory.documents.format.languages import translator_for
    from inventory.documents.plan.document_set import DOCUMENT_KINDS, DocumentOptions
    from inventory.documents.plan.facts_from_book import with_shop_data
    from inventory.documents.plan.files import FORMATS, write_documents
    from inventory.stock.lookup import get_batch, plan_of

    kinds = tuple(kind for kind in DOCUMENT_KINDS if not only or kind in only)
    options = DocumentOptions(
        kinds=kinds,
        translator=translator_for(language),
        grid=read_grid(labels, label_margins, label_gaps),
    )
    with shop_file_of(context) as shop_file, shop_file.read() as session:
        batch = get_batch(session, number)
        made = plan_of(batch)
        options = with_shop_data(options, session, batch, made, left=left)
    folder = into or Path(f"batch-{number}")
    # A part of the set is documents; lists, text and pictures are of the whole plan.
    wanted = [str(one) for one in formats or (("pdf", "html") if only else FORMATS)]
    paths = write_documents(
        made, folder, options, page=str(page), fonts=fonts or (), formats=wanted, each=each
    )
    typer.echo(f"{format_count(len(paths), 'file')} written into {folder}")


@app.command("cut")
def cut(
    context: typer.Context,
    number: NumberArgument,
    layout: Annotated[
        int | None,
        typer.Option("--layout", min=1, help="Only this layout.", show_default="all that are left"),
    ] = None,
    copies: Annotated[
        int | None,
        typer.Option(
            "--copies",
            min=1,
            help="So many copies of the layout.",
            show_default="all that are left",
        ),
    ] = None,
    place: Annotated[
        str | None,
        typer.Option(
            "--place",
            help="Where the new offcuts are put; '' for nowhere.",
            show_default="where the sheet lay",
        ),
    ] = None,
    minutes: Annotated[
        str | None,
        typer.Option("--minutes", help="How long all this took to cut; estimates learn from it."),
    ] = None,
) -> None:
    """Book layouts as cut: their sheets leave the stash, offcuts worth keeping enter it.

    \b
    Examples:
      quirebox batch cut 1 --place "Drawer 1"
      quirebox batch cut 1 --layout 3 --copies 2
      quirebox batch cut 1 --layout 3 --minutes 25
    """
    from inventory.cli.shared.terminal import console
    from inventory.core.durations import read_time_taken
    from inventory.documents.format.terminal_tables import table
    from inventory.production.cutting import cut_batch
    from inventory.production.pace import pace_words, shop_pace
    from inventory.production.progress import list_remaining
    from inventory.shop.settings import get_shop
    from inventory.stock.lookup import get_batch
    from nester.core.lengths import format_size

    seconds = None if minutes is None else read_time_taken(minutes)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        kept = cut_batch(
            session, number, layout=layout, copies=copies, place=place, seconds=seconds
        )
        pace = None if seconds is None else pace_words(shop_pace(session))
        left = sum(len(one.copies) for one in list_remaining(session, get_batch(session, number)))
    if kept:
        from rich.text import Text

        shown = table(
            "Write these labels on the offcuts",
            "Label",
            "Layout",
            "Paper",
            "Size",
            right=frozenset({"Layout"}),
        )
        for one in kept:
            size = format_size(one.width, one.height, unit)
            shown.add_row(one.label, str(one.layout), Text(one.paper), size)
        console().print(shown)
    if pace is not None:
        typer.echo(pace)
    sheets = format_count(left, "sheet")
    typer.echo(f"{sheets} of batch {number} left to cut" if left else f"Batch {number} is cut")


@app.command("spoil")
def spoil(
    context: typer.Context,
    number: NumberArgument,
    piece: Annotated[
        str | None, typer.Option("--piece", help="The name of a piece that was cut.")
    ] = None,
    quantity: Annotated[int, typer.Option("--quantity", min=1, help="How many pieces.")] = 1,
    order: Annotated[
        int | None, typer.Option("--order", help="For which order the piece was.")
    ] = None,
    layout: Annotated[
        int | None,
        typer.Option("--layout", min=1, help="The layout whose sheet was spoiled in cutting."),
    ] = None,
    why: Annotated[str, typer.Option("--why", help="The reason, for the history.")] = "",
    plan_anew: Annotated[
        bool, typer.Option("--plan/--no-plan", help="Plan the missing pieces at once.")
    ] = True,
    effort: EffortOption = Effort.NORMAL,
) -> None:
    """Book a piece or a whole sheet as spoiled, and plan the missing pieces from what is left.

    Offcuts are taken first; a sheet only for what they can't hold.

    \b
    Examples:
      quirebox batch spoil 1 --piece "tier 1" --order 3 --why "cut too short"
      quirebox batch spoil 1 --layout 2 --why "the knife slipped"
    """
    from inventory.production.spoiling import spoil_layout, spoil_piece
    from nester.core.errors import Refusal

    if (piece is None) == (layout is None):
        raise Refusal("say what was spoiled: --piece for a piece, --layout for a sheet being cut")
    with shop_file_of(context) as shop_file:
        with shop_file.begin() as session:
            if piece is not None:
                spoil_piece(session, number, piece, quantity, order=order, why=why)
                lost = f"{quantity} × {piece}"
            else:
                names = spoil_layout(session, number, layout or 0, why)
                lost = f"a sheet with {', '.join(f'{n} × {name}' for name, n in names.items())}"
        typer.echo(f"Booked as spoiled: {lost}")
        if plan_anew:
            _mend(context, shop_file, number, effort)


@app.command("mend")
def mend(
    context: typer.Context, number: NumberArgument, effort: EffortOption = Effort.NORMAL
) -> None:
    """Plan the spoiled pieces of a batch anew, and just these, offcuts first.

    \b
    Example:
      quirebox batch mend 1
    """
    with shop_file_of(context) as shop_file:
        _mend(context, shop_file, number, effort)


def _mend(context: typer.Context, shop_file: ShopFile, number: int, effort: Effort) -> None:
    from inventory.cli.shared.terminal import console
    from inventory.documents.plan.text import plan_summary
    from inventory.production.mending import mend_batch
    from inventory.production.pace import shop_pace

    with searching_in(shop_file, None) as search:
        made = mend_batch(shop_file, number, effort=effort, today=date.today(), **search)
    with shop_file.read() as session:
        pace = shop_pace(session)
    console().print(plan_summary(made, pace))
    if made.batch:
        typer.echo(f"Next: {command_words(context, f'batch cut {made.batch}')}")


@app.command("undo")
def undo(
    context: typer.Context,
    number: NumberArgument,
    why: Annotated[str, typer.Option("--why", help="The reason, for the history.")] = "",
) -> None:
    """Take back what was booked last of a batch: a layout as cut, or something as spoiled.

    \b
    Example:
      quirebox batch undo 1 --why "that was batch 2"
    """
    from inventory.cli.shared.terminal import transaction_words
    from inventory.production.undo import last_transaction, undo_transaction

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        deed = last_transaction(session, batch=number)
        undo_transaction(session, deed.id, why)
    typer.echo(f"Taken back: {transaction_words(deed)}")


@app.command("cost")
def cost(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show what a batch costs in paper and cutting, and which of its orders bears how much.

    \b
    Example:
      quirebox batch cost 1
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.costs.order_costs import batch_cost
    from inventory.documents.text.costs import batch_cost_text
    from inventory.views.costs import batch_cost_as_json

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        told = batch_cost(session, number)
    if as_json:
        print_json(batch_cost_as_json(told))
    else:
        console().print(batch_cost_text(told))


@app.command("drop")
def drop(context: typer.Context, number: NumberArgument) -> None:
    """Give a plan up: what it reserved is free, its orders are confirmed again.

    \b
    Example:
      quirebox batch drop 1
    """
    from inventory.production.cutting import drop_batch

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        drop_batch(session, number)
    typer.echo(f"Batch {number} is dropped")
