"""`quirebox batch`: orders planned together against the stash, then cut."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    CutsOption,
    EffortOption,
    FontsOption,
    IgnoreGrainFlag,
    JsonFlag,
    LanguageOption,
    Page,
    PageOption,
    ReplaceFlag,
    SecondsOption,
    SpareOption,
    command_words,
    group,
    replacing,
    searching_in,
    shop_file_of,
    show_from_shop,
)
from inventory.cli.shared.stock_options import WhyOption
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile

app = group("Batches: orders cut together, from the plan to the last offcut.")

NumberArgument = Annotated[int, typer.Argument(help="The number of a batch.")]
DaysOption = Annotated[
    int,
    typer.Option(
        "--days",
        min=1,
        max=100,
        help="Spread the cutting over so many days, the most urgent orders first.",
    ),
]
LeftFlag = Annotated[bool, typer.Option("--left", help="Only what is still left to cut.")]
DayOption = Annotated[
    int | None,
    typer.Option("--day", min=1, help="Only what is cut on this day of the batch."),
]


@app.command("plan")
def plan(
    context: typer.Context,
    orders: Annotated[
        list[int] | None,
        typer.Argument(metavar="ORDER", help="Order numbers.  [default: all confirmed orders]"),
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
            help="Use replacement papers for orders that can't be made otherwise.",
        ),
    ] = False,
    ignore_grain: IgnoreGrainFlag = False,
    spare: SpareOption = None,
    days: DaysOption = 1,
    as_json: JsonFlag = False,
) -> None:
    """Plan how to cut orders from the stash, and reserve the paper.

    An order is planned only if the stash has paper for all of it; the plan lists what is missing
    and what to buy. 'quirebox batch drop' drops a plan.

    \b
    Examples:
      quirebox batch plan
      quirebox batch plan 3 5 8 --cuts free --effort thorough
      quirebox batch plan --draft
      quirebox batch plan --days 3
    """
    from inventory.cli.shared.terminal import print_json
    from inventory.pieces.spare_rule import read_spare_rule
    from inventory.production.planning import plan_batch
    from inventory.views.production.plan import plan_as_json

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
                spares=read_spare_rule(spare or ()),
                days=days,
                today=date.today(),
                **search,
            )
        if as_json:
            print_json(plan_as_json(made))
            return
        _show_plan(shop_file, made)
    if made.batch and draft:
        then = command_words(context, f"batch confirm {made.batch}")
        say(f"Nothing is reserved yet; next: {then}")
    elif made.batch:
        steps_of = command_words(context, f"batch steps {made.batch}")
        say(f"Next: {steps_of}, or {command_words(context, f'batch papers {made.batch}')}")


@app.command("replan")
def replan(
    context: typer.Context,
    numbers: Annotated[list[int], typer.Argument(metavar="BATCH", help="Numbers of batches.")],
    add: Annotated[
        list[int] | None,
        typer.Option("--add", metavar="ORDER", help="Add this order; repeat for several."),
    ] = None,
    without: Annotated[
        list[int] | None,
        typer.Option("--without", metavar="ORDER", help="Take this order out; repeat for several."),
    ] = None,
    spare: SpareOption = None,
    days: DaysOption = 1,
    effort: EffortOption = Effort.NORMAL,
    seconds: SecondsOption = None,
    why: WhyOption = "",
    as_json: JsonFlag = False,
) -> None:
    """Plan again what is not cut yet, from the paper that is there; what is cut stays.

    The rest becomes a new batch. 'quirebox stash undo' brings the old plan back.

    \b
    Examples:
      quirebox batch replan 1
      quirebox batch replan 1 --add 12 --without 3
    """
    from inventory.changes.replanning import replan_batches
    from inventory.cli.shared.terminal import print_json
    from inventory.pieces.spare_rule import read_spare_rule
    from inventory.views.production.plan import plan_as_json

    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, seconds) as search:
            made = replan_batches(
                shop_file,
                numbers,
                add=add or (),
                without=without or (),
                spares=read_spare_rule(spare or ()),
                days=days,
                effort=effort,
                why=why,
                today=date.today(),
                **search,
            )
        if made.plan is None:
            say("Nothing is left to plan")
            return
        if as_json:
            print_json(plan_as_json(made.plan))
            return
        _show_plan(shop_file, made.plan)
    if made.plan.batch:
        say(f"Next: {command_words(context, f'batch steps {made.plan.batch}')}")


@app.command("confirm")
def confirm(
    context: typer.Context,
    number: NumberArgument,
    again: Annotated[
        bool,
        typer.Option("--again", help="If the stash has changed, plan the same orders again."),
    ] = False,
) -> None:
    """Confirm a draft: reserve its paper and set its orders to planned.

    If the stash no longer has the paper, you see what changed, and nothing is reserved.

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
                words = command_words(context, f"batch confirm {number} --again")
                raise Refusal(f"{changed} with '{words}'") from None
            with searching_in(shop_file, None) as search:
                made = replan_draft(shop_file, number, today=date.today(), **search)
            warn(f"{changed}: this is done now")
            number = made.batch or 0
    say(
        f"Batch {number} is confirmed"
        if number
        else "The draft was dropped: none of its orders can be made now"
    )


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List all batches, newest first."""
    from inventory.views.production.batches import batch_list

    show_from_shop(context, as_json, batch_list)


@app.command("show")
def show(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show a batch's plan: what to take out, what to cut, which orders wait, what to buy.

    \b
    Example:
      quirebox batch show 1
    """
    from inventory.cli.shared.terminal import console, print_json, show_list, warn
    from inventory.documents.plan.text import plan_summary
    from inventory.views.production.batches import batch_as_json, batch_view, cutting_words

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        view = batch_view(session, number)
        if as_json:
            print_json(batch_as_json(view))
            return
    console().print(plan_summary(view.plan, view.pace))
    for words in view.outdated:
        warn(words)
    if view.is_open:
        show_list(view.remaining_listing, view.remaining)
        say("\n".join(cutting_words(view.plan, view.pace, view.remaining)))
    if view.missing:
        say("\n".join(view.missing_words))
        say(f"Next: {command_words(context, f'batch mend {number}')}")


@app.command("steps")
def steps(
    context: typer.Context,
    number: NumberArgument,
    layout: Annotated[
        int | None, typer.Option("--layout", help="Only the layout with this number.")
    ] = None,
    left: LeftFlag = False,
    day: DayOption = None,
    picture: Annotated[
        bool, typer.Option("--picture", help="Draw each layout before its cuts.")
    ] = False,
) -> None:
    """Print the cut list: each layout with its cuts in the order you make them.

    \b
    Example:
      quirebox batch steps 1 --layout 3 --picture
    """
    from inventory.cli.shared.terminal import console
    from inventory.core.text import number_ranges
    from inventory.documents.plan.text import cut_list
    from inventory.production.progress import layouts_of_day, list_remaining
    from inventory.stock.lookup import get_batch, plan_of
    from nester.core.errors import Refusal

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        batch = get_batch(session, number)
        made = plan_of(batch)
        if layout is not None and layout not in {one.number for one in made.layouts}:
            numbers = number_ranges(one.number for one in made.layouts)
            raise Refusal(f"batch {number} has no layout {layout}; it has {numbers or 'none'}")
        if left or day is not None:
            chosen = None if day is None else layouts_of_day(session, number, day)
            made = made.of_copies(
                {
                    row.layout.number: row.copies
                    for row in list_remaining(session, batch, made)
                    if chosen is None or row.layout.number in chosen
                }
            )
    if not made.layouts or (layout and layout not in {one.number for one in made.layouts}):
        say("Nothing of it is left to cut")
        return
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
        typer.Option(
            "--into", metavar="FOLDER", help="The folder to write to.  [default: batch-NUMBER]"
        ),
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
        typer.Option(
            "--only",
            help="Only this part of the set; repeat for several.",
            show_default="the whole set",
        ),
    ] = None,
    each: Annotated[
        bool, typer.Option("--each", help="A PDF for each part of the set, instead of one for all.")
    ] = False,
    left: LeftFlag = False,
    day: DayOption = None,
    language: LanguageOption = "en",
    labels: Annotated[
        str,
        typer.Option(
            "--labels", metavar="COLUMNSxROWS", help="How many labels are on a sheet of labels."
        ),
    ] = "3x8",
    label_margins: Annotated[
        str,
        typer.Option(
            "--label-margins",
            metavar="SIDE,TOP",
            help="The free margins of a sheet of labels: at the sides, and at top and bottom.",
        ),
    ] = "7mm,12mm",
    label_gaps: Annotated[
        str,
        typer.Option("--label-gaps", metavar="ACROSS,DOWN", help="The gaps between labels."),
    ] = "2.5mm,0mm",
    fonts: FontsOption = None,
    yes: ReplaceFlag = False,
) -> None:
    """Write a plan's documents: the set to print or to read on a phone, lists, pictures of layouts.

    The set has a summary with safety notes, the list of what to take out, a cut sheet for each
    layout, score and fold sheets, a kit list for each order, and labels.

    \b
    Examples:
      quirebox batch papers 1 --into week-48
      quirebox batch papers 1 --page Letter --format pdf --each
      quirebox batch papers 1 --only labels --labels 3x7 --label-margins 7mm,15mm
    """
    from inventory.documents.plan.facts_from_book import DocumentRequest, write_batch_documents

    request = DocumentRequest(
        language=language,
        labels=labels,
        label_margins=label_margins,
        label_gaps=label_gaps,
        only=[str(kind) for kind in only or ()],
        formats=[str(kind) for kind in formats or ()],
        page=str(page),
        fonts=fonts or (),
        each=each,
        left=left,
        day=day,
    )
    folder = into or Path(f"batch-{number}")
    with shop_file_of(context) as shop_file:
        paths = write_batch_documents(shop_file, number, folder, request, replacing(yes))
    say(f"Wrote {format_count(len(paths), 'file')} to {folder}")


@app.command("cut")
def cut(
    context: typer.Context,
    number: NumberArgument,
    layout: Annotated[
        list[str] | None,
        typer.Option(
            "--layout",
            metavar="NUMBERS",
            help="Only these layouts: 3, 1-20 or 23,25; repeat for more.",
            show_default="all that are left",
        ),
    ] = None,
    day: DayOption = None,
    copies: Annotated[
        int | None,
        typer.Option(
            "--copies",
            min=1,
            help="How many copies of one layout.",
            show_default="all that are left",
        ),
    ] = None,
    stand_in: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="LABEL", help="The sheet you took instead of the one planned."
        ),
    ] = None,
    place: Annotated[
        str | None,
        typer.Option(
            "--place",
            help="Where you put the new offcuts, and all of their piles; '' for nowhere.",
            show_default="with their pile, else where the sheet lay",
        ),
    ] = None,
    minutes: Annotated[
        str | None,
        typer.Option("--minutes", help="How long this took to cut; later estimates use it."),
    ] = None,
) -> None:
    """Record layouts as cut: their sheets leave the stash, and offcuts worth keeping are added.

    Equal offcuts of a batch are one pile, with the label that their cut sheets show.

    \b
    Examples:
      quirebox batch cut 1 --place "Drawer 1"
      quirebox batch cut 1 --layout 3 --copies 2
      quirebox batch cut 1 --layout 1-20 --layout 23,25 --minutes 90
      quirebox batch cut 1 --layout 3 --from S-9
      quirebox batch cut 1 --day 1
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.core.durations import read_time_taken
    from inventory.core.text import read_numbers
    from inventory.production.cutting import cut_batch
    from inventory.production.pace import pace_words, shop_pace
    from inventory.production.progress import layouts_of_day, list_remaining
    from inventory.shop.settings import get_shop
    from inventory.stock.lookup import get_batch
    from inventory.views.production.batches import kept_listing
    from nester.core.errors import Refusal

    if layout is not None and day is not None:
        raise Refusal("give either --day or --layout")
    seconds = None if minutes is None else read_time_taken(minutes)
    layouts = None if layout is None else read_numbers(layout, "the layouts")
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        unit = get_shop(session).unit
        if day is not None:
            layouts = layouts_of_day(session, number, day)
        kept = cut_batch(
            session,
            number,
            layout=layouts,
            copies=copies,
            place=place,
            seconds=seconds,
            stand_in=stand_in,
        )
        pace = None if seconds is None else pace_words(shop_pace(session))
        remaining = list_remaining(session, get_batch(session, number))
    if kept:
        show_list(kept_listing(unit), kept)
    if pace is not None:
        say(pace)
    left = sum(len(row.copies) for row in remaining)
    say(
        f"Recorded as cut; {format_count(left, 'sheet')} of batch {number} left to cut"
        if left
        else f"Batch {number} is cut"
    )


@app.command("spoil")
def spoil(
    context: typer.Context,
    number: NumberArgument,
    piece: Annotated[
        str | None, typer.Option("--piece", help="The name of a piece that was cut.")
    ] = None,
    quantity: Annotated[int, typer.Option("--quantity", min=1, help="How many pieces.")] = 1,
    order: Annotated[
        int | None, typer.Option("--order", help="The order that the piece was for.")
    ] = None,
    layout: Annotated[
        int | None,
        typer.Option("--layout", min=1, help="The layout whose sheet was spoiled while cutting."),
    ] = None,
    why: WhyOption = "",
    plan_again: Annotated[
        bool,
        typer.Option("--plan/--no-plan", help="Plan the missing pieces again at once, or not."),
    ] = True,
    effort: EffortOption = Effort.NORMAL,
) -> None:
    """Record a piece or a whole sheet as spoiled, and plan the missing pieces from what is left.

    Offcuts are used first, and sheets only for what doesn't fit on them.

    \b
    Examples:
      quirebox batch spoil 1 --piece "tier 1" --order 3 --why "cut too short"
      quirebox batch spoil 1 --layout 2 --why "the knife slipped"
    """
    from inventory.production.mending import mend_batch
    from inventory.production.spoiling import spoil_layout, spoil_piece
    from nester.core.errors import Refusal

    if (piece is None) == (layout is None):
        raise Refusal("say what was spoiled: --piece for a piece, --layout for a whole sheet")

    def spoil(session: Session) -> str:
        if piece is not None:
            spoil_piece(session, number, piece, quantity, order=order, why=why)
            return f"{quantity} × {piece}"
        names = spoil_layout(session, number, layout or 0, why)
        pieces = ", ".join(f"{n} × {name}" for name, n in names.items())
        return f"a sheet with {pieces}"

    with shop_file_of(context) as shop_file:
        if not plan_again:
            with shop_file.begin() as session:
                lost = spoil(session)
            say(f"Recorded as spoiled: {lost}")
            return
        words: list[str] = []
        with searching_in(shop_file, None) as search:
            made = mend_batch(
                shop_file, number, spoil=lambda session: words.append(spoil(session)),
                effort=effort, today=date.today(), **search,
            )  # fmt: skip
        say(f"Recorded as spoiled: {words[-1]}")
        _show_mended(context, shop_file, made)


@app.command("mend")
def mend(
    context: typer.Context, number: NumberArgument, effort: EffortOption = Effort.NORMAL
) -> None:
    """Plan only the missing pieces of a batch again, from offcuts first.

    \b
    Example:
      quirebox batch mend 1
    """
    from inventory.production.mending import mend_batch

    with shop_file_of(context) as shop_file:
        with searching_in(shop_file, None) as search:
            made = mend_batch(shop_file, number, effort=effort, today=date.today(), **search)
        _show_mended(context, shop_file, made)


def _show_mended(context: typer.Context, shop_file: ShopFile, made: Plan) -> None:
    _show_plan(shop_file, made)
    if made.batch:
        say(f"Next: {command_words(context, f'batch cut {made.batch}')}")


def _show_plan(shop_file: ShopFile, made: Plan) -> None:
    from inventory.cli.shared.terminal import console
    from inventory.documents.plan.text import plan_summary
    from inventory.production.pace import shop_pace
    from inventory.views.production.batches import cutting_words

    with shop_file.read() as session:
        pace = shop_pace(session)
    console().print(plan_summary(made, pace))
    if any(layout.day for layout in made.layouts):
        say("\n".join(cutting_words(made, pace)))


@app.command("undo")
def undo(
    context: typer.Context,
    number: NumberArgument,
    why: WhyOption = "",
) -> None:
    """Undo the last entry of a batch: a layout that was cut, or what was spoiled.

    \b
    Example:
      quirebox batch undo 1 --why "that was batch 2"
    """
    from inventory.changes.undo import last_transaction, undo_transaction
    from inventory.documents.text.transactions import transaction_words

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        transaction = last_transaction(session, batch=number)
        undo_transaction(session, transaction.id, why)
    say(f"Undone: {transaction_words(transaction)}")


@app.command("cost")
def cost(context: typer.Context, number: NumberArgument, as_json: JsonFlag = False) -> None:
    """Show what a batch costs in paper and cutting, and each order's share.

    \b
    Example:
      quirebox batch cost 1
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.costs.order_costs import batch_cost
    from inventory.documents.text.costs import batch_cost_text
    from inventory.views.costs import batch_cost_as_json

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        cost_of_batch = batch_cost(session, number)
    if as_json:
        print_json(batch_cost_as_json(cost_of_batch))
    else:
        console().print(batch_cost_text(cost_of_batch))


@app.command("drop")
def drop(context: typer.Context, number: NumberArgument) -> None:
    """Drop a plan: free its paper and set its orders back to confirmed.

    \b
    Example:
      quirebox batch drop 1
    """
    from inventory.production.cutting import drop_batch

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        drop_batch(session, number)
    say(f"Dropped batch {number}; nothing is reserved for it any more")
