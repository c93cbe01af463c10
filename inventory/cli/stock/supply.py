"""`quirebox supply`: what goes into a box beside paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import JsonFlag, group, shop_file_of
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from nester.core.lengths import Length, Unit

app = group("Supplies: ribbon on reels, adhesive, eyelets, by length, count or amount.")

NameArgument = Annotated[str, typer.Argument(help="The name of a supply in the book.")]
BatchOption = Annotated[
    int | None, typer.Option("--batch", help="The number of the batch it is used for.")
]
WhyOption = Annotated[str, typer.Option("--why", help="The reason, for the history.")]
CutOption = Annotated[
    list[str] | None,
    typer.Option("--cut", metavar="NxLENGTH", help="Lengths of ribbon: 4x60cm; again for each."),
]
ShortestOption = Annotated[
    str, typer.Option("--shortest", help="An end of a reel shorter than this is waste.")
]


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What you call it.")],
    by: Annotated[
        str, typer.Option("--by", help="reel (by length), count (by the piece) or amount.")
    ],
    unit: Annotated[str, typer.Option("--unit", help="Of an amount: ml, g.")] = "",
    note: Annotated[str, typer.Option("--note", help="A remark.")] = "",
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
    typer.echo(f"Supply '{supply.name}' added")


@app.command("receive")
def receive(
    context: typer.Context,
    name: NameArgument,
    much: Annotated[
        str, typer.Argument(help="On each reel or in each pack: 25m, 100, 250 (in its unit).")
    ],
    items: Annotated[
        int, typer.Option("--items", min=1, max=1000, help="How many reels or packs.")
    ] = 1,
    price: Annotated[str | None, typer.Option("--price", help="Of one reel or pack.")] = None,
    place: Annotated[str | None, typer.Option("--place", help="Where it lies.")] = None,
    lot: Annotated[str, typer.Option("--lot", help="What its maker printed on it.")] = "",
    supplier: Annotated[str, typer.Option("--supplier", help="Who brought it.")] = "",
    note_number: Annotated[
        str, typer.Option("--note-number", help="The number of the delivery note.")
    ] = "",
) -> None:
    """Put reels or packs of a supply into the stash, each under a label of its own.

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
    typer.echo(f"Write {', '.join(item.label for item in made)} on it")


@app.command("use")
def use(
    context: typer.Context,
    name: NameArgument,
    much: Annotated[
        str | None, typer.Argument(help="How many pieces, or what amount; not for ribbon.")
    ] = None,
    cut: CutOption = None,
    shortest: ShortestOption = "20cm",
    batch: BatchOption = None,
    why: WhyOption = "",
    try_only: Annotated[
        bool, typer.Option("--try", help="Only show from which reels; book nothing.")
    ] = False,
) -> None:
    """Use up some of a supply; ribbon is cut from the reels that leave the least waste.

    \b
    Examples:
      quirebox supply use Eyelets 12 --batch 1
      quirebox supply use "Satin ribbon 6 mm" --cut 4x60cm --cut 2x35cm
    """
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import find_supply, read_measure, use_supply

    with shop_file_of(context) as shop_file:
        if cut:
            if much is not None:
                raise Refusal("say an amount or --cut, not both")
            with shop_file.read() if try_only else shop_file.begin() as session:
                _use_ribbon(session, name, cut, shortest, batch, why, try_only=try_only)
            return
        if much is None:
            raise Refusal("say how much was used, or with --cut which lengths of ribbon")
        with shop_file.begin() as session:
            supply = find_supply(session, name)
            unit = get_shop(session).unit
            taken = use_supply(
                session, name, read_measure(supply, much, unit), batch=batch, why=why
            )
    typer.echo(f"Booked, from {', '.join(item.label for item, _ in taken)}")


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
    from inventory.cli.shared.terminal import console
    from inventory.documents.format.terminal_tables import table
    from inventory.documents.plan.text import tally
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import plan_lengths, use_lengths
    from nester.core.lengths import format_length, parse_length

    unit = get_shop(session).unit
    lengths = [_lengths(text, unit) for text in cut]
    least = parse_length(shortest, unit)
    if try_only:
        plan = plan_lengths(session, name, lengths, shortest=least)
        cuts = plan.cuts
    else:
        cuts = use_lengths(session, name, lengths, shortest=least, batch=batch, why=why)
    shown = table("Cut from", "Reel", "Lengths", "Rest", right=frozenset({"Rest"}))
    for one in cuts:
        names = tally(format_length(length, unit) for length in one.lengths)
        shown.add_row(
            one.reel.name, names, format_length(one.remainder, unit) if one.remainder else "0"
        )
    console().print(shown)
    if try_only:
        waste = format_length(plan.waste, unit) if plan.waste else "nothing"
        proven = "no choice wastes less" if plan.bound == plan.waste else "a better may exist"
        typer.echo(f"{waste} is wasted; {proven}")


def _lengths(text: str, unit: Unit) -> tuple[Length, int]:
    from inventory.core.table_files import check_count
    from nester.core.lengths import parse_length

    number, times, length = text.casefold().replace("×", "x").partition("x")
    if not times:
        number, length = "1", text
    return parse_length(length, unit), check_count(number)


@app.command("count")
def count(
    context: typer.Context,
    label: Annotated[str, typer.Argument(help="The label, such as R-1 or P-2.")],
    much: Annotated[str, typer.Argument(help="How much there really is.")],
    why: WhyOption = "",
) -> None:
    """Say how much of a reel or pack there really is; the difference is booked.

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
        typer.echo("As in the book; nothing to do")
        return
    shown = format_measure(supply.measure, abs(difference), supply.unit, unit)
    typer.echo(f"{'+' if difference > 0 else '-'}{shown} booked")


@app.command("list")
def list_(
    context: typer.Context,
    empty: Annotated[
        bool, typer.Option("--empty", help="Also that of which nothing is left.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """List all reels and packs, with how much is left of each."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import format_measure, list_supplies

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        rows = list_supplies(session, include_empty=empty)
    if as_json:
        print_json(
            [
                {
                    "label": row.label,
                    "supply": row.supply,
                    "by": str(row.measure),
                    "unit": _unit_of(row.measure, row.unit),
                    "left": _number_of(row.measure, row.remaining),
                    "price": None if row.price is None else str(row.price),
                    "place": row.place,
                    "lot": row.lot,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    shown = table("Supplies", "Label", "Supply", "Left", "Place", right=frozenset({"Left"}))
    for row in rows:
        left = format_measure(row.measure, row.remaining, row.unit, unit) if row.remaining else "0"
        shown.add_row(row.label, Text(row.supply), left, Text(row.place or ""))
    console().print(shown if rows else "No supplies yet; 'quirebox supply receive' puts them in.")


def _unit_of(measure: str, unit: str) -> str:
    return {"reel": "mm", "count": ""}.get(measure, unit)


def _number_of(measure: str, parts: int) -> float | int:
    from nester.core.lengths import to_mm_number

    if measure == "reel":
        return to_mm_number(parts)
    return parts if measure == "count" else parts / 1000


@app.command("history")
def history(context: typer.Context, name: NameArgument, as_json: JsonFlag = False) -> None:
    """Show every movement of a supply: when, how much, why, for which batch.

    \b
    Example:
      quirebox supply history "Satin ribbon 6 mm"
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.shop.settings import get_shop
    from inventory.stock.supplies import find_supply, format_measure, supply_history

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        unit = get_shop(session).unit
        supply = find_supply(session, name)
        rows = supply_history(session, name)
    if as_json:
        print_json(
            [
                {
                    "label": row.label,
                    "at": row.at.isoformat(timespec="seconds"),
                    "unit": _unit_of(supply.measure, supply.unit),
                    "change": _number_of(supply.measure, row.change),
                    "after": _number_of(supply.measure, row.balance),
                    "reason": str(row.reason),
                    "batch": row.batch,
                    "deed": row.transaction,
                    "note": row.note,
                }
                for row in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    right = frozenset({"Change", "After", "Batch"})
    shown = table(
        f"History of {supply.name}", "When", "Label", "Change", "After", "Reason", "Batch", "Note",
        right=right,
    )  # fmt: skip
    for row in rows:
        change = format_measure(supply.measure, abs(row.change), supply.unit, unit)
        after = (
            format_measure(supply.measure, row.balance, supply.unit, unit) if row.balance else "0"
        )
        shown.add_row(
            row.at.astimezone().strftime("%Y-%m-%d %H:%M"),
            row.label,
            f"{'+' if row.change > 0 else '-'}{change}",
            after,
            row.reason,
            str(row.batch or ""),
            Text(row.note),
        )
    console().print(shown)
