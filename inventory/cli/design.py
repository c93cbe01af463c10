"""`quirebox design`: rules that turn a few sizes into pieces."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inventory.cli import design_sizes
from inventory.cli.cost import CollectedFlag, EachOption, read_unit_price, show_cost
from inventory.cli.shared.design_options import (
    NameArgument,
    PaperOption,
    SizesArgument,
    UnitOption,
    design_named,
    session_if_any,
    sheetstock,
    unit_of,
)
from inventory.cli.shared.options import JsonFlag, group, pairs, shop_file_of
from nester.core.lengths import Unit

if TYPE_CHECKING:
    from decimal import Decimal

    from nester.core.piece import Piece
    from nester.core.sheet_sizes import Size
    from nester.designs.base.datasheet import Datasheet

app = group("Designs: boxes and cards, from a few sizes to exact pieces.")

FileArgument = Annotated[Path, typer.Argument(metavar="FILE.toml", help="A design of your own.")]


@app.command("list")
def list_(context: typer.Context, as_json: JsonFlag = False) -> None:
    """List the designs that come with Quirebox, and those of the shop's own."""
    from inventory.cli.shared.terminal import console, print_json
    from inventory.orders.custom_designs import list_custom_designs
    from nester.designs import DESIGNS

    with session_if_any(context) as session:
        own = [] if session is None else [one.name for one in list_custom_designs(session)]
        designs = [*DESIGNS.values(), *(design_named(session, name) for name in own)]
    if as_json:
        print_json(
            [
                {
                    "name": one.name,
                    "title": one.title,
                    "roles": [*one.roles, *one.sub_roles],
                    "own": one.name in own,
                }
                for one in designs
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    shown = table("Designs", "Design", "What it is", "Parts to give a paper")
    for one in designs:
        mark = " (own)" if one.name in own else ""
        shown.add_row(Text(one.name + mark), Text(one.title), Text(", ".join(one.roles)))
    console().print(shown)


@app.command("settings")
def settings(
    context: typer.Context,
    name: NameArgument,
    unit: UnitOption = None,
    as_json: JsonFlag = False,
) -> None:
    """Show what can be said about a design, and what it is if nothing is said.

    \b
    Example:
      quirebox design settings layered-box --unit in
    """
    from inventory.cli.shared.terminal import console, print_json
    from nester.designs import (
        read_settings,
    )

    with session_if_any(context) as session:
        design = design_named(session, name)
        unit = unit_of(session, unit)
    usual = read_settings(design, {}, unit)
    rows = [
        (one.name, one.show(usual[one.name], unit) if one.name in usual else "", one)
        for one in design.settings
    ]
    if as_json:
        print_json(
            [
                {
                    "name": setting,
                    "kind": str(one.kind),
                    "usual": shown,
                    "choices": list(one.choices),
                    "fit": one.fitted_length is not None,
                    "help": one.help,
                }
                for setting, shown, one in rows
            ]
        )
        return
    from rich.text import Text

    from inventory.documents.format.terminal_tables import table

    shown_table = table(design.title, "Setting", "Usual", "What it is")
    for setting, shown, one in rows:
        words = one.help + (f" ({', '.join(one.choices)})" if one.choices else "")
        words += "; or fit" if one.fitted_length is not None else ""
        shown_table.add_row(Text(setting), shown, Text(words))
    console().print(shown_table)
    if any(one.fitted_length is not None for _, _, one in rows):
        typer.echo("fit: the smallest that leaves the play wished for in the papers chosen.")


def _sheet(
    context: typer.Context,
    name: str,
    sizes: list[str] | None,
    paper: list[str] | None,
    asked: Unit | None,
) -> tuple[Datasheet, Unit]:
    """Work a design out, and say in which unit."""
    from nester.designs import (
        check_roles,
    )
    from nester.designs.base.datasheet import make_datasheet

    with session_if_any(context) as session:
        design = design_named(session, name)
        papers = pairs(paper or [], "--paper")
        check_roles(design, papers)
        stock = sheetstock(session, papers)
        unit = unit_of(session, asked)
    return make_datasheet(design, pairs(sizes or [], "setting"), stock, unit), unit


@app.command("show")
def show(
    context: typer.Context,
    name: NameArgument,
    sizes: SizesArgument = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    svg: Annotated[
        Path | None,
        typer.Option("--svg", metavar="FOLDER", help="Draw each piece, and the whole, into it."),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", metavar="FILE", help="Draw them all into one PDF."),
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Show one box or card: every flat piece, how the parts fit, weight, paper and advice.

    \b
    Examples:
      quirebox design show layered-box panel=18cm tiers=4 step=fit
      quirebox design show gift-tag --paper all=300 --svg tag
    """
    from inventory.cli.shared.terminal import console, print_json
    from inventory.documents.text.design import design_text
    from inventory.views.design import design_as_json

    sheet, used = _sheet(context, name, sizes, paper, unit)
    if svg is not None or pdf is not None:
        _draw(sheet, used, svg, pdf)
    if as_json:
        print_json(design_as_json(sheet))
    else:
        console().print(design_text(sheet, used))


def _draw(sheet: Datasheet, unit: Unit, folder: Path | None, pdf: Path | None) -> None:
    from inventory.core.files import make_folder, write_bytes, write_file
    from nester.drawing.pictures.assembly import draw_assembly
    from nester.drawing.pictures.piece import draw_piece

    names = ["whole"] if sheet.section else []
    names += _file_names(sheet.pieces)
    pictures = []
    if sheet.section:
        pictures.append(draw_assembly(sheet.section, unit, thickness=sheet.thickness))
    pictures += [draw_piece(piece, unit) for piece in sheet.pieces]
    if folder is not None:
        make_folder(folder)
        for name, picture in zip(names, pictures, strict=True):
            write_file(folder / f"{name}.svg", picture)
    if pdf is not None:
        from nester.drawing.canvas.pdf_pictures import pictures_pdf

        write_bytes(pdf, pictures_pdf(pictures, sheet.design.title))


def _file_names(pieces: Sequence[Piece]) -> list[str]:
    """Return a name for each piece's file; no two are alike, also where case doesn't count."""
    import re

    names: list[str] = []
    for number, piece in enumerate(pieces, start=1):
        plain = re.sub(r"[^\w.-]+", "-", piece.name).strip("-.")[:60]
        names.append(f"{number:02}-{plain}" if plain else f"{number:02}")
    return names


@app.command("cost")
def cost(
    context: typer.Context,
    name: NameArgument,
    sizes: SizesArgument = None,
    paper: Annotated[
        list[str] | None,
        typer.Option(
            "--paper",
            metavar="PART=PAPER",
            help="A paper of the shop's for a part, or for 'all'; again for each.",
        ),
    ] = None,
    copies: Annotated[int, typer.Option("--copies", min=1, help="How many.")] = 1,
    on: Annotated[
        list[str] | None,
        typer.Option(
            "--on",
            metavar="SIZE=PRICE",
            help="New sheets, whatever the paper; again for each.  [default: those that the book"
            " knows of each paper]",
        ),
    ] = None,
    price: EachOption = None,
    collected: CollectedFlag = False,
    as_json: JsonFlag = False,
) -> None:
    """Estimate what a box or card costs, part by part, and the price that leaves the margin.

    It is cut from new sheets, as if nothing else were cut with it and nothing lay in the stash.

    \b
    Examples:
      quirebox design cost layered-box panel=18cm tiers=4 \\
        --paper "all=Coal card" --paper "mat=Fern print" --copies 10
      quirebox design cost gift-tag --paper "all=Oat card" --on 50x70cm=1.55
    """
    from datetime import date

    from inventory.costs.order_costs import design_cost

    with shop_file_of(context) as shop_file:
        told = design_cost(
            shop_file,
            name,
            pairs(sizes or [], "setting"),
            pairs(paper or [], "--paper"),
            copies,
            today=date.today(),
            on=partial(_sheets_on, pairs(on or [], "--on")),
            posted=not collected,
            each=read_unit_price(shop_file, price),
        )
    show_cost(told, as_json=as_json)


def _sheets_on(texts: dict[str, str], unit: Unit) -> list[tuple[Size, Decimal]]:
    from inventory.core.money import parse_money
    from nester.core.sheet_sizes import parse_size

    return [
        (parse_size(size, unit), parse_money(price, f"the price of a sheet of {size}"))
        for size, price in texts.items()
    ]


@app.command("template")
def template(
    context: typer.Context,
    name: NameArgument,
    sizes: SizesArgument = None,
    paper: PaperOption = None,
    unit: UnitOption = None,
    page: Annotated[
        str, typer.Option("--page", help="The printer's paper for the PDF: A4 or Letter.")
    ] = "A4",
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="FOLDER", help="Where to.  [default: NAME-templates]"),
    ] = None,
) -> None:
    """Write drawings at full size: PDF for a desk printer, SVG and DXF for machines that read them.

    Print the PDF at 100 % and measure the square on its first page before cutting.

    \b
    Example:
      quirebox design template gift-tag length=10cm --page Letter --into tag
    """
    from inventory.core.files import make_folder, write_bytes, write_file
    from nester.drawing.templates.dxf import template_dxf
    from nester.drawing.templates.pdf import PAGES, template_pdf
    from nester.drawing.templates.svg import template_svg

    page_name = next((one for one in PAGES if one.casefold() == page.casefold()), page)
    sheet, used = _sheet(context, name, sizes, paper, unit)
    document = template_pdf(sheet.pieces, page_name, used, sheet.design.title)
    folder = into or Path(f"{sheet.design.name}-templates")
    make_folder(folder)
    write_bytes(folder / "templates.pdf", document)
    write_file(folder / "templates.dxf", template_dxf(sheet.pieces, used))
    for file_name, piece in zip(_file_names(sheet.pieces), sheet.pieces, strict=True):
        write_file(folder / f"{file_name}.svg", template_svg(piece, used))
    typer.echo(f"{len(sheet.pieces) + 2} files written into {folder}")


@app.command("new")
def new(
    into: Annotated[
        Path | None,
        typer.Argument(metavar="FILE.toml", help="Where to; printed if none is given."),
    ] = None,
) -> None:
    """Write a commented starting point for a design of your own.

    \b
    Example:
      quirebox design new my-box.toml
    """
    from inventory.core.files import write_new_file
    from nester.designs.custom.reader import starter_text

    if into is None:
        typer.echo(starter_text().rstrip())
        return
    write_new_file(into, starter_text().encode())
    typer.echo(f"{into} written; change it, then: quirebox design check {into}")


@app.command("check")
def check(file: FileArgument) -> None:
    """Say what is wrong with a design of your own, by line; and whether its folds close.

    \b
    Example:
      quirebox design check my-box.toml
    """
    from inventory.orders.custom_designs import read_design_file
    from nester.core.errors import Refusal
    from nester.designs.base.datasheet import make_datasheet
    from nester.designs.custom.reader import check_custom_design, read_custom_design

    text = read_design_file(file)
    findings = [str(one) for one in check_custom_design(text, str(file))]
    if not findings:
        usual = make_datasheet(read_custom_design(text, str(file)), {}, {}, Unit.CM)
        findings = [f"{file}: it does not fold: {fault}" for fault in usual.fold_faults]
    if len(findings) > 1:
        typer.echo("\n".join(findings))
        raise Refusal(f"{file} has {len(findings)} faults; they are listed above")
    if findings:
        raise Refusal(findings[0])
    typer.echo(f"{file} is in order")


@app.command("add")
def add(context: typer.Context, file: FileArgument) -> None:
    """Keep a design of your own in the shop's book, so that orders can be of it.

    \b
    Example:
      quirebox design add my-box.toml
    """
    from inventory.orders.custom_designs import add_custom_design, read_design_file

    text = read_design_file(file)
    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        kept = add_custom_design(session, text, str(file))
    typer.echo(f"Design '{kept.name}' added")


@app.command("remove")
def remove(context: typer.Context, name: NameArgument) -> None:
    """Forget a design of the shop's own; refused while an order still needs it.

    \b
    Example:
      quirebox design remove my-box
    """
    from inventory.orders.custom_designs import remove_custom_design

    with shop_file_of(context) as shop_file, shop_file.begin() as session:
        remove_custom_design(session, name)
    typer.echo(f"Design '{name}' removed")


app.command("sizes")(design_sizes.sizes)
app.command("sheets")(design_sizes.sheets)
