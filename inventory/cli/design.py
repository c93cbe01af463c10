"""`quirebox design`: rules that turn a few sizes into pieces."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli import design_sizes
from inventory.cli.cost import CollectedFlag, EachOption, read_unit_price, show_cost
from inventory.cli.shared.design_options import (
    ChoicesArgument,
    NameArgument,
    PaperOption,
    UnitOption,
    WeightChoicesArgument,
    choices_of,
    session_if_any,
)
from inventory.cli.shared.options import (
    JsonFlag,
    Page,
    PageOption,
    ReplaceFlag,
    group,
    replacing,
    shop_file_of,
)
from inventory.cli.shared.terminal import say
from inventory.core.text import format_count, pairs
from nester.core.lengths import Unit

if TYPE_CHECKING:
    from nester.designs.base.datasheet import Datasheet

app = group("Designs: boxes and cards, from a few sizes to exact pieces.")

FileArgument = Annotated[Path, typer.Argument(metavar="FILE.toml", help="A design of your own.")]


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List the built-in designs and your own."""
    from inventory.cli.shared.terminal import show_list
    from inventory.views.production.design import design_list

    with session_if_any(context) as session:
        shown = design_list(session)
    show_list(*shown, as_json)


@app.command("settings")
def settings(
    context: typer.Context,
    name: NameArgument,
    unit: UnitOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show the settings of a design and their defaults.

    \b
    Example:
      quirebox design settings layered-box --unit in
    """
    from inventory.cli.shared.terminal import show_list
    from inventory.views.production.design import setting_list

    with session_if_any(context) as session:
        listing, rows = setting_list(session, name, unit)
    show_list(listing, rows, as_json)
    if not as_json and any(row.can_fit for row in rows):
        say("fit: the smallest value that leaves enough play in the papers chosen.")


def _datasheet(
    context: typer.Context,
    name: str,
    sizes: list[str] | None,
    paper: list[str] | None,
    unit: Unit | None,
) -> tuple[Datasheet, Unit]:
    from inventory.orders.custom_designs import datasheet_of

    with session_if_any(context) as session:
        chosen = choices_of(session, name, sizes, paper)
        return datasheet_of(session, name, chosen.sizes, chosen.papers, unit)


@app.command("show")
def show(
    context: typer.Context,
    name: NameArgument,
    sizes: WeightChoicesArgument = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    svg: Annotated[
        Path | None,
        typer.Option(
            "--svg", metavar="FOLDER", help="Draw each piece, and the whole, into this folder."
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", metavar="FILE", help="Draw them all into one PDF."),
    ] = None,
    yes: ReplaceFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Show one box or card: every flat piece, how the parts fit, weight, paper and advice.

    \b
    Examples:
      quirebox design show layered-box panel=18cm tiers=4 step=fit
      quirebox design show gift-tag all=300 --svg tag
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.documents.text.design import design_text
    from inventory.views.production.design import design_as_json

    sheet, used = _datasheet(context, name, sizes, paper, unit)
    if svg is not None or pdf is not None:
        from inventory.documents.design_files import write_pictures

        write_pictures(sheet, used, svg, pdf, replacing(yes))
    if as_json:
        print_json(design_as_json(sheet))
    else:
        console().print(design_text(sheet, used))


@app.command("cost")
def cost(
    context: typer.Context,
    name: NameArgument,
    sizes: ChoicesArgument = None,
    paper: PaperOption = None,
    copies: Annotated[int, typer.Option("--copies", min=1, help="How many.")] = 1,
    on: Annotated[
        list[str] | None,
        typer.Option(
            "--on",
            metavar="SIZE=PRICE",
            help="A sheet's size and price, for any paper; repeat for each.  [default: the sizes"
            " you have had]",
        ),
    ] = None,
    price: EachOption = None,
    collected: CollectedFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Estimate what a box or card costs, part by part, and the price that gives your margin.

    Paper is counted as if cut alone, from new sheets.

    \b
    Examples:
      quirebox design cost layered-box panel=18cm tiers=4 \\
        all="Coal card" mat="Fern print" --copies 10
      quirebox design cost gift-tag all="Oat card" --on 50x70cm=1.55
    """
    from datetime import date

    from inventory.costs.order_costs import design_cost
    from inventory.orders.custom_designs import read_sheet_prices

    with shop_file_of(context) as shop_file:
        with shop_file.read() as session:
            chosen = choices_of(session, name, sizes, paper)
        found = design_cost(
            shop_file,
            name,
            chosen.sizes,
            chosen.papers,
            copies,
            today=date.today(),
            on=partial(read_sheet_prices, pairs(on or [], "--on")),
            posted=not collected,
            each=read_unit_price(shop_file, price),
        )
    show_cost(found, as_json=as_json)


@app.command("template")
def template(
    context: typer.Context,
    name: NameArgument,
    sizes: WeightChoicesArgument = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    page: PageOption = Page.A4,
    into: Annotated[
        Path | None,
        typer.Option(
            "--into", metavar="FOLDER", help="The folder to write to.  [default: NAME-templates]"
        ),
    ] = None,
    yes: ReplaceFlag = False,
) -> None:
    """Write drawings at full size: PDF for a printer, SVG and DXF for cutting machines.

    Print the PDF at 100 % and measure the square on its first page before cutting.

    \b
    Example:
      quirebox design template gift-tag length=10cm --page Letter --into tag
    """
    from inventory.documents.design_files import write_templates

    sheet, used = _datasheet(context, name, sizes, paper, unit)
    folder = into or Path(f"{sheet.design.name}-templates")
    paths = write_templates(sheet, used, folder, page, replacing(yes))
    say(f"Wrote {format_count(len(paths), 'file')} to {folder}")


@app.command("new")
def new(
    into: Annotated[
        Path | None,
        typer.Argument(metavar="FILE.toml", help="The file to write; printed if none is given."),
    ] = None,
) -> None:
    """Write a commented file to start your own design from.

    \b
    Example:
      quirebox design new my-box.toml
    """
    from inventory.core.files import write_new_file
    from nester.designs.custom.reader import starter_text

    if into is None:
        say(starter_text().rstrip())
        return
    write_new_file(into, starter_text().encode())
    say(f"Wrote {into}; change it, then: quirebox design check {into}")


@app.command("check")
def check(file: FileArgument) -> None:
    """Check a design of your own: what is wrong, by line, and whether its folds close.

    \b
    Example:
      quirebox design check my-box.toml
    """
    from inventory.orders.custom_designs import check_design_file
    from nester.core.errors import Refusal

    findings = check_design_file(file)
    if len(findings) > 1:
        say("\n".join(findings))
        raise Refusal(f"{file} has {len(findings)} faults; they are listed above")
    if findings:
        raise Refusal(findings[0])
    say(f"{file} is fine")


@app.command("add")
def add(context: typer.Context, file: FileArgument) -> None:
    """Add a design of your own to the shop, so that you can take orders for it.

    \b
    Example:
      quirebox design add my-box.toml
    """
    from inventory.orders.custom_designs import add_custom_design, read_design_file

    text = read_design_file(file)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        kept = add_custom_design(session, text, str(file))
    say(f"Added the design '{kept.name}'")


@app.command("remove")
def remove(context: typer.Context, name: NameArgument) -> None:
    """Remove a design of your own; refused while an order still needs it.

    \b
    Example:
      quirebox design remove my-box
    """
    from inventory.orders.custom_designs import remove_custom_design

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        remove_custom_design(session, name)
    say(f"Removed the design '{name}'")


app.command("sizes")(design_sizes.sizes)
app.command("sheets")(design_sizes.sheets)
