"""`quirebox supply`: what a box takes besides paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of, show_from_shop
from inventory.cli.shared.stock_options import NoteOption, PlaceOption, WhyOption
from inventory.cli.shared.terminal import say
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


app = group("Supplies: ribbon, adhesive and eyelets, by length, count or amount.")

NameArgument = Annotated[str, typer.Argument(help="The name of one of your supplies.")]
BatchOption = Annotated[int | None, typer.Option("--batch", help="The batch it is used for.")]
CutOption = Annotated[
    list[str] | None,
    typer.Option(
        "--cut",
        metavar="NxLENGTH",
        help="Lengths of ribbon, such as 4x60cm; repeat for each length.",
    ),
]
ShortestOption = Annotated[
    str,
    typer.Option("--shortest", help="What is left on a reel is waste if it is shorter than this."),
]


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it.")],
    by: Annotated[
        str, typer.Option("--by", help="reel (by length), count (by the piece) or amount.")
    ],
    unit: Annotated[str, typer.Option("--unit", help="The unit of an amount: ml, g.")] = "",
    note: NoteOption = "",
) -> None:
    """Add a supply: a kind of ribbon, adhesive or eyelet.

    \b
    Examples:
      quirebox supply add "Satin ribbon 6 mm" --by reel
      quirebox supply add "Bookbinder's paste" --by amount --unit ml
    """
    from inventory.stock.supplies import add_supply

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        supply = add_supply(session, name, by, unit=unit, note=note)
    say(f"Added the supply '{supply.name}'")


@app.command("receive")
def receive(
    context: typer.Context,
    name: NameArgument,
    much: Annotated[
        str,
        typer.Argument(help="What is on each reel or in each pack: 25m, 100, 250 (in its unit)."),
    ],
    items: Annotated[
        int, typer.Option("--items", min=1, max=1000, help="How many reels or packs.")
    ] = 1,
    price: Annotated[
        str | None, typer.Option("--price", help="The price of a reel or pack.")
    ] = None,
    place: PlaceOption = None,
    lot: Annotated[str, typer.Option("--lot", help="The lot number printed on it.")] = "",
    supplier: Annotated[str, typer.Option("--supplier", help="The name of the supplier.")] = "",
    note_number: Annotated[
        str, typer.Option("--note-number", help="The number of the delivery note.")
    ] = "",
) -> None:
    """Add reels or packs of a supply to the stash, each with a label of its own.

    \b
    Examples:
      quirebox supply receive "Satin ribbon 6 mm" 25m --items 2 --price 4.50
      quirebox supply receive Eyelets 100 --place "Drawer 1"
    """
    from inventory.core.money import parse_money
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import find_supply, read_measure, receive_supply

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        supply = find_supply(session, name)
        made = receive_supply(
            session,
            name,
            read_measure(supply, much, get_shop(session).unit),
            items=items,
            price=None if price is None else parse_money(price, "the price"),
            place=place,
            lot=lot,
            supplier=supplier,
            number=note_number,
        )
    labels = ", ".join(item.label for item in made)
    say(f"Added {supply.name}; write {labels} on {'it' if len(made) == 1 else 'them'}")


@app.command("use")
def use(
    context: typer.Context,
    name: NameArgument,
    much: Annotated[
        str | None, typer.Argument(help="How many pieces, or what amount; for ribbon use --cut.")
    ] = None,
    cut: CutOption = None,
    shortest: ShortestOption = "20cm",
    batch: BatchOption = None,
    why: WhyOption = "",
    try_only: Annotated[
        bool, typer.Option("--try", help="Only show which reels to cut from; record nothing.")
    ] = False,
) -> None:
    """Use up some of a supply; ribbon is cut from the reels that leave the least waste.

    \b
    Examples:
      quirebox supply use Eyelets 12 --batch 1
      quirebox supply use "Satin ribbon 6 mm" --cut 4x60cm --cut 2x35cm
    """
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import find_supply, format_measure, read_measure, use_supply

    with shop_file_of(context) as shop_file:
        if cut:
            if much is not None:
                raise Refusal("give an amount or --cut, not both")
            with shop_file.read() if try_only else shop_file.begin() as session:
                _use_ribbon(session, name, cut, shortest, batch, why, try_only=try_only)
            return
        if much is None:
            raise Refusal("give the amount that was used, or the lengths of ribbon with --cut")
        with shop_file.begin() as session:
            supply = find_supply(session, name)
            unit = get_shop(session).unit
            taken = use_supply(
                session, name, read_measure(supply, much, unit), batch=batch, why=why
            )
        words = ", ".join(
            f"{format_measure(supply.measure, parts, supply.unit, unit)} from {item.label}"
            for item, parts in taken
        )
    say(f"Recorded the use of {supply.name}: {words}")


def _use_ribbon(
    session: Session,
    name: str,
    cut: list[str],
    shortest: str,
    batch: int | None,
    why: str,
    *,
    try_only: bool,
) -> None:
    from inventory.cli.shared.terminal import show_list
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import plan_lengths, read_lengths, use_lengths
    from inventory.views.stock.supplies import reel_listing, reel_plan_words
    from nester.core.lengths import parse_length

    unit = get_shop(session).unit
    lengths = [read_lengths(text, unit) for text in cut]
    least = parse_length(shortest, unit)
    if try_only:
        plan = plan_lengths(session, name, lengths, shortest=least)
        show_list(reel_listing(unit), plan.cuts)
        say(reel_plan_words(plan, unit))
    else:
        cuts = use_lengths(session, name, lengths, shortest=least, batch=batch, why=why)
        show_list(reel_listing(unit), cuts)
        say("Recorded these lengths as cut")


@app.command("count")
def count(
    context: typer.Context,
    label: Annotated[str, typer.Argument(help="The label, such as R-1 or P-2.")],
    much: Annotated[str, typer.Argument(help="How much there really is.")],
    why: WhyOption = "",
) -> None:
    """Record how much of a reel or pack there really is; the history keeps the difference.

    \b
    Example:
      quirebox supply count R-1 8.40m --why "measured on Sunday"
    """
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import count_supply, find_item, format_measure, read_measure

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        supply = find_item(session, label).supply
        unit = get_shop(session).unit
        difference = count_supply(session, label, read_measure(supply, much, unit, 0), why)
    if not difference:
        say(f"{label} was right; nothing to change")
        return
    shown = format_measure(supply.measure, abs(difference), supply.unit, unit)
    say(f"{label} corrected by {'+' if difference > 0 else '-'}{shown}")


@app.command("list")
def list_(
    context: typer.Context,
    empty: Annotated[
        bool, typer.Option("--empty", help="Also show labels with nothing left.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """List all reels and packs, with how much is left of each."""
    from inventory.views.stock.supplies import supply_list

    show_from_shop(context, as_json, lambda session: supply_list(session, include_empty=empty))


@app.command("history")
def history(context: typer.Context, name: NameArgument, as_json: JsonFlag = False) -> None:
    """Show every change of a supply: when, how much, why, for which batch.

    \b
    Example:
      quirebox supply history "Satin ribbon 6 mm"
    """
    from inventory.views.stock.supplies import supply_history_list

    show_from_shop(context, as_json, lambda session: supply_history_list(session, name))
