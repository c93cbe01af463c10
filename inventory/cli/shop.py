"""`quirebox shop`: the shop's file and its rules."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli.shared.options import (
    GapOption,
    JsonFlag,
    StagesOption,
    StripOption,
    TrimmerOption,
    changed_trimmer,
    format_count,
    group,
    shop_file_of,
    shop_option,
)
from nester.core.lengths import Unit

if TYPE_CHECKING:
    from inventory.maintenance.check import CheckReport

app = group("The shop itself: its file, unit, currency and rules.")


@app.command("new")
def new(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="What the shop is called.")],
    unit: Annotated[
        Unit, typer.Option("--unit", help="The unit of bare numbers and of what is shown.")
    ] = Unit.CM,
    currency: Annotated[
        str, typer.Option("--currency", help="Three letters, as in ISO 4217.")
    ] = "EUR",
) -> None:
    """Begin the book of a new shop; an existing one is never overwritten.

    \b
    Examples:
      quirebox shop new "Hazelmoth" --unit cm --currency EUR
      quirebox --shop hazelmoth.sqlite shop new "Hazelmoth" --unit in \\
        --currency USD
    """
    from inventory.database.open import open_shop

    with open_shop(
        shop_option(context), create=True, name=name, unit=unit, currency=currency
    ) as book:
        typer.echo(f"The book of '{name}' begins in {book.place}")


@app.command("show")
def show(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show the shop's rules and what its book holds."""
    from inventory.cli.shared.terminal import print_json
    from inventory.documents.text.rules import rules_words
    from inventory.shop.settings import get_shop, record_counts
    from nester.core.lengths import format_length, to_mm_number

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        shop = get_shop(session)
        papers, stock, orders = record_counts(session)
    if as_json:
        from inventory.views.cutting import trimmer_as_json

        print_json(
            {
                "name": shop.name,
                "file": shop_file.place,
                "unit": str(shop.unit),
                "currency": shop.currency,
                "smallest_offcut": to_mm_number(shop.smallest_offcut),
                "offcut_worth": shop.offcut_worth,
                "gap": to_mm_number(shop.gap),
                "trimmer": trimmer_as_json(shop.trimmer),
                "follow_grain": shop.follow_grain,
                "making_days": shop.making_days,
                "papers": papers,
                "stash": stock,
                "orders": orders,
            }
        )
        return
    typer.echo(shop.name)
    typer.echo(str(shop_file.place))
    typer.echo(f"Unit {shop.unit}, currency {shop.currency}")
    smallest = format_length(shop.smallest_offcut, shop.unit)
    typer.echo(f"Offcuts are kept from {smallest} on the short side")
    typer.echo(f"An offcut counts at {shop.offcut_worth} % of its share of a sheet's price")
    for rule in rules_words(shop.gap, shop.trimmer, shop.unit):
        typer.echo(rule)
    follow = "follow" if shop.follow_grain else "need not follow"
    typer.echo(f"Pieces that wish for a grain {follow} it where it is known")
    days = format_count(shop.making_days, "day")
    typer.echo(f"The paper of an order must be there {days} before it is due")
    typer.echo(f"{papers} papers, {stock} sheets and offcuts, {orders} orders")


@app.command("set")
def change(
    context: typer.Context,
    name: Annotated[str | None, typer.Option("--name", help="What the shop is called.")] = None,
    unit: Annotated[
        Unit | None, typer.Option("--unit", help="The unit of bare numbers and of what is shown.")
    ] = None,
    smallest_offcut: Annotated[
        str | None,
        typer.Option("--smallest-offcut", help="Short side of the smallest offcut worth keeping."),
    ] = None,
    offcut_worth: Annotated[
        int | None,
        typer.Option(
            "--offcut-worth",
            help="Percent of its share of a sheet's price at which an offcut counts.",
        ),
    ] = None,
    gap: GapOption = None,
    trimmer: TrimmerOption = None,
    smallest_strip: StripOption = None,
    stages: StagesOption = None,
    grain: Annotated[
        bool | None,
        typer.Option(
            "--follow-grain/--ignore-grain",
            help="Whether pieces that wish for a grain follow it where it is known.",
            show_default=False,
        ),
    ] = None,
    making_days: Annotated[
        int | None,
        typer.Option(
            "--making-days",
            metavar="N",
            help="How many days before an order is due its paper must be there.",
        ),
    ] = None,
) -> None:
    """Change the shop's rules; 'quirebox shop show' shows them.

    \b
    Examples:
      quirebox shop set --smallest-offcut 5cm --offcut-worth 40
      quirebox shop set --gap 2mm --trimmer 31cm --smallest-strip 1cm
      quirebox shop set --trimmer any --stages 3 --ignore-grain
      quirebox shop set --making-days 3
    """
    from inventory.shop.settings import change_shop, get_shop
    from inventory.stock.condition import read_distance
    from nester.core.lengths import parse_length

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        shop = get_shop(session)
        used = unit or shop.unit
        smallest = parse_length(smallest_offcut, used) if smallest_offcut is not None else None
        change_shop(
            session,
            name=name,
            unit=unit,
            smallest_offcut=smallest,
            offcut_worth=offcut_worth,
            gap=None if gap is None else read_distance(gap, used, "the gap between pieces"),
            trimmer=changed_trimmer(shop.trimmer, used, trimmer, smallest_strip, stages),
            follow_grain=grain,
            making_days=making_days,
        )
    typer.echo("Done")


@app.command("check")
def check(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Prove that the book is sound: sums, reservations, tables, the file itself.

    It ends with 1 if the book contradicts itself, which would be a fault of the program or of the
    disk; put back a backup then.

    \b
    Example:
      quirebox shop check
    """
    from inventory.cli.shared.terminal import print_json
    from inventory.maintenance.check import CHECKS, check_shop

    with shop_file_of(context) as shop_file:
        report = check_shop(shop_file)
        place = shop_file.place
    if as_json:
        findings = [
            {"check": one.check, "fault": one.fault, "where": one.where, "says": one.message}
            for one in report.findings
        ]
        print_json(
            {
                "shop": place,
                "sound": not report.faults,
                "checks": [
                    {"check": name, "proves": proves, "made": name in report.checks}
                    for name, (proves, _) in CHECKS.items()
                ],
                "findings": findings,
            }
        )
    else:
        _show_report(place, report)
    if report.faults:
        raise typer.Exit(1)


def _show_report(place: str, report: CheckReport) -> None:
    from inventory.maintenance.check import CHECKS

    typer.echo(f"The book in {place}:")
    faulty = {one.check for one in report.faults}
    for name, (proves, _) in CHECKS.items():
        if name in faulty:
            typer.echo(f"  WRONG    {proves}")
        elif name in report.checks:
            typer.echo(f"  right    {proves}")
        else:
            typer.echo(f"  not seen {proves}")
        for one in report.findings:
            if one.check == name:
                typer.echo(f"           {one.where}: {one.message}")
    typer.echo("It is not sound; put back a backup" if faulty else "It is sound")


@app.command("backup")
def backup(
    context: typer.Context,
    file: Annotated[
        Path | None,
        typer.Argument(
            help="The copy; beside the shop's file, with the time in its name, unless given."
        ),
    ] = None,
) -> None:
    """Copy the shop's file, also while others work on it.

    \b
    Examples:
      quirebox shop backup
      quirebox shop backup sunday.sqlite
    """
    from inventory.maintenance.backup import back_up

    with shop_file_of(context) as shop_file:
        copy = back_up(shop_file, file)
    typer.echo(f"A copy is in {copy}")


@app.command("restore")
def restore_copy(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="A copy that 'shop backup' made.")],
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Put it in place of a file that is there; that is kept."),
    ] = False,
) -> None:
    """Put a copy back as the shop's file; what was there is kept beside it.

    \b
    Example:
      quirebox shop restore sunday.sqlite --replace
    """
    from inventory.maintenance.backup import restore

    kept = restore(file, shop_option(context), replace=replace)
    typer.echo(f"{file} is the shop's book now")
    if kept is not None:
        typer.echo(f"The one before is in {kept}")


@app.command("export")
def export(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="The archive to write.")],
) -> None:
    """Write the whole shop into a ZIP archive of CSV tables, for good keeping or to move it.

    \b
    Example:
      quirebox shop export hazelmoth.zip
    """
    from inventory.maintenance.archive import export_shop

    with shop_file_of(context) as shop_file:
        rows = export_shop(shop_file, file)
    typer.echo(f"{sum(rows.values())} rows of {len(rows)} tables are in {file}")


@app.command("import")
def import_archive(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="What 'shop export' wrote.")],
) -> None:
    """Begin a shop with all that is in an archive; an existing one is never overwritten.

    \b
    Examples:
      quirebox --shop new.sqlite shop import hazelmoth.zip
      quirebox --shop postgresql://ada@host/hazelmoth shop import \\
        hazelmoth.zip
    """
    from inventory.maintenance.archive import import_shop

    rows = import_shop(file, shop_option(context))
    typer.echo(f"{sum(rows.values())} rows of {len(rows)} tables are in the new shop")
