"""`quirebox shop`: the shop's file and its rules."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from inventory.cli.shared.options import (
    GapOption,
    JsonFlag,
    StagesOption,
    StripOption,
    TrimmerOption,
    group,
    naming_changes,
    shop_file_of,
    shop_option,
)
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count
from nester.core.lengths import Unit

app = group("The shop itself: its file, unit, currency and rules.")


@app.command("new")
def new(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="The name of the shop.")],
    unit: Annotated[
        Unit, typer.Option("--unit", help="The unit of numbers without one, and of the output.")
    ] = Unit.CM,
    currency: Annotated[
        str, typer.Option("--currency", help="Three letters, as in ISO 4217: EUR.")
    ] = "EUR",
) -> None:
    """Make a new shop; an existing one is never overwritten.

    \b
    Examples:
      quirebox shop new "Hazelmoth" --unit cm --currency EUR
      quirebox --shop hazelmoth.sqlite shop new "Hazelmoth" --unit in \\
        --currency USD
    """
    from inventory.database.open import open_shop

    with open_shop(
        shop_option(context), create=True, name=name, unit=unit, currency=currency
    ) as shop_file:
        say(f"Made the shop '{name}' in {shop_file.place}")


@app.command("show")
def show(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Show the shop's rules and how much is in it."""
    from inventory.cli.shared.terminal import print_json
    from inventory.documents.text.shop import shop_words
    from inventory.shop.settings import get_shop, record_counts
    from inventory.views.shop import shop_as_json

    with shop_file_of(context) as shop_file, shop_file.read() as session:
        place = str(shop_file.place)
        if as_json:
            print_json(shop_as_json(session, place))
        else:
            words = shop_words(get_shop(session), place, *record_counts(session))
            say("\n".join(words))


@app.command("set")
def change(
    context: typer.Context,
    name: Annotated[str | None, typer.Option("--name", help="The name of the shop.")] = None,
    unit: Annotated[
        Unit | None,
        typer.Option("--unit", help="The unit of numbers without one, and of the output."),
    ] = None,
    smallest_offcut: Annotated[
        str | None,
        typer.Option(
            "--smallest-offcut", help="The short side of the smallest offcut worth keeping."
        ),
    ] = None,
    offcut_worth: Annotated[
        int | None,
        typer.Option(
            "--offcut-worth",
            help="What an offcut counts in plans, in percent of its share of the sheet's price.",
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
            help="Whether pieces that need a grain follow it where it is known.",
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
    from inventory.core.measures import read_distance
    from inventory.shop.settings import change_shop, changed_trimmer, get_shop
    from nester.core.lengths import parse_length

    given = {
        "name": name, "unit": unit, "smallest offcut": smallest_offcut,
        "offcut worth": offcut_worth, "gap": gap, "trimmer": trimmer,
        "smallest strip": smallest_strip, "stages": stages, "grain": grain,
        "making days": making_days,
    }  # fmt: skip
    changed = naming_changes(given)
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
    say(f"Changed {changed}; see all rules with 'quirebox shop show'")


@app.command("check")
def check(context: typer.Context, as_json: JsonFlag = False) -> None:
    """Check the shop's records for errors: sums, reservations, tables, the file itself.

    It ends with exit code 1 if they contradict each other. That would be a fault of the program or
    of the disk; restore a backup then.

    \b
    Example:
      quirebox shop check
    """
    from inventory.cli.shared.terminal import print_json
    from inventory.documents.text.shop import check_words
    from inventory.maintenance.check import check_shop
    from inventory.views.shop import check_as_json

    with shop_file_of(context) as shop_file:
        report = check_shop(shop_file)
        place = shop_file.place
    if as_json:
        print_json(check_as_json(place, report))
    else:
        say("\n".join(check_words(place, report)))
    if report.faults:
        raise typer.Exit(1)


@app.command("backup")
def backup(
    context: typer.Context,
    file: Annotated[
        Path | None,
        typer.Argument(
            help="The copy.  [default: next to the shop's file, with the time in its name]"
        ),
    ] = None,
) -> None:
    """Copy the shop's file; others can keep working in it.

    \b
    Examples:
      quirebox shop backup
      quirebox shop backup sunday.sqlite
    """
    from inventory.maintenance.backup import back_up

    with shop_file_of(context) as shop_file:
        copy = back_up(shop_file, file)
    say(f"Copied the shop to {copy}")


@app.command("restore")
def restore_copy(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="A copy made by 'shop backup'.")],
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Replace an existing file; the old one is kept."),
    ] = False,
) -> None:
    """Restore the shop from a copy; the old file is kept next to it.

    \b
    Example:
      quirebox shop restore sunday.sqlite --replace
    """
    from inventory.maintenance.backup import restore

    kept = restore(file, shop_option(context), replace=replace)
    say(f"Restored the shop from {file}")
    if kept is not None:
        say(f"The file from before is kept as {kept}")


@app.command("export")
def export(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="The archive to write.")],
) -> None:
    """Write the whole shop to a ZIP archive of CSV tables, to keep or to move it.

    \b
    Example:
      quirebox shop export hazelmoth.zip
    """
    from inventory.maintenance.archive import export_shop

    with shop_file_of(context) as shop_file:
        rows = export_shop(shop_file, file)
    say(f"Wrote {_count_words(rows)} to {file}")


@app.command("import")
def import_archive(
    context: typer.Context,
    file: Annotated[
        Path, typer.Argument(metavar="FILE.zip", help="An archive written by 'shop export'.")
    ],
) -> None:
    """Make a shop from an archive; an existing one is never overwritten.

    \b
    Examples:
      quirebox --shop new.sqlite shop import hazelmoth.zip
      quirebox --shop postgresql://ada@host/hazelmoth shop import \\
        hazelmoth.zip
    """
    from inventory.maintenance.archive import import_shop

    rows = import_shop(file, shop_option(context))
    say(f"Read {_count_words(rows)} into the new shop")


def _count_words(rows: Mapping[str, int]) -> str:
    number = format_count(sum(rows.values()), "row")
    return f"{number} of {format_count(len(rows), 'table')}"
