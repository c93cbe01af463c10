"""Designs: those that come with Quirebox, and the maker's own, which the shop's book keeps."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.core.text import did_you_mean, fold, shorten
from inventory.database.tables.enums import Grain, OrderStatus
from inventory.database.tables.orders import CustomDesign, Order
from inventory.database.tables.shop import Shop
from inventory.stock.papers import find_paper
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from decimal import Decimal
    from pathlib import Path

    from sqlalchemy.orm import Session

    from nester.core.lengths import Unit
    from nester.core.sheet_sizes import Size
    from nester.designs import Design
    from nester.designs.base.datasheet import Datasheet
    from nester.designs.base.thickness import PaperSpec

__all__ = [
    "add_custom_design",
    "built_in_design",
    "check_design_file",
    "datasheet_of",
    "design_named",
    "find_design",
    "get_custom_design",
    "list_custom_designs",
    "read_design_file",
    "read_paper_specs",
    "read_sheet_prices",
    "remove_custom_design",
    "text_of_design",
    "unit_of",
]

_FINISHED_STATUSES = (OrderStatus.DELIVERED, OrderStatus.CANCELLED)


def read_design_file(path: Path) -> str:
    """Return the text of a design's file.

    Raises
    ------
    Refusal
        If it can't be read, is too large or no UTF-8.
    """
    from nester.designs.custom.reader import decode_custom_design
    from nester.designs.custom.toml_table import MAX_FILE_SIZE

    try:
        with path.open("rb") as file:
            data = file.read(MAX_FILE_SIZE + 1)
    except FileNotFoundError:
        raise Refusal(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise Refusal(f"{path}: this is a folder, not a design's file") from None
    except OSError as why:
        raise Refusal(f"{path}: it can't be read ({why.strerror or why})") from None
    return decode_custom_design(data, str(path))


def add_custom_design(session: Session, text: str, file: str) -> CustomDesign:
    """Keep a design of the maker's own under the name it gives itself.

    Parameters
    ----------
    text
        Its file (see `nester.designs.custom.reader.starter_text`).
    file
        What to call the file in a refusal.

    Raises
    ------
    Refusal
        If it can't be made, or a design has that name already.
    """
    from nester.designs.custom.reader import read_custom_design

    design = read_custom_design(text, file)
    if _find_custom_design(session, design.name) is not None:
        raise Refusal(
            f"{file}, name: there is a design '{design.name}' already; give the new one another"
            f" name, or remove the old one first"
        )
    row = CustomDesign(name=design.name, text=text, added_at=datetime.now(UTC))
    session.add(row)
    session.flush()
    return row


def list_custom_designs(session: Session) -> list[CustomDesign]:
    """Return the maker's own designs by name."""
    return list(session.scalars(select(CustomDesign).order_by(CustomDesign.name_key)))


def get_custom_design(session: Session, name: str) -> CustomDesign:
    """Return the maker's own design of that name, in capitals or not.

    Raises
    ------
    Refusal
        If there is none.
    """
    row = _find_custom_design(session, name)
    if row is None:
        known = [design.name for design in list_custom_designs(session)]
        hint = did_you_mean(name, known) or _known_names(known)
        raise Refusal(f"the shop keeps no design of its own '{shorten(name)}'{hint}")
    return row


def remove_custom_design(session: Session, name: str) -> None:
    """Forget a design of the maker's own.

    Raises
    ------
    Refusal
        If there is none of that name, or an order that is not delivered or cancelled is of it.
    """
    row = get_custom_design(session, name)
    orders = session.scalars(
        select(Order.id)
        .where(Order.design == row.name, Order.status.not_in(_FINISHED_STATUSES))
        .order_by(Order.id)
    ).all()
    if orders:
        which = ", ".join(map(str, orders[:10])) + (" …" if len(orders) > 10 else "")
        raise Refusal(
            f"the design '{row.name}' is used by order{'s' * (len(orders) > 1)} {which};"
            f" deliver or cancel {'those' if len(orders) > 1 else 'it'} first"
        )
    session.delete(row)
    session.flush()


def find_design(session: Session, name: str) -> Design:
    """Return the design of that name, a built-in one or the maker's own.

    Raises
    ------
    Refusal
        If there is none; it says which there are.
    """
    from nester.designs import DESIGNS
    from nester.designs.custom.reader import read_custom_design

    design = DESIGNS.get(fold(name))
    if design is not None:
        return design
    row = _find_custom_design(session, name)
    if row is None:
        raise _unknown(name, [*DESIGNS, *(design.name for design in list_custom_designs(session))])
    return read_custom_design(row.text, f"the design '{row.name}' in the shop")


def text_of_design(session: Session, name: str) -> str | None:
    """Return the text of a design of the maker's own; None for a built-in one."""
    from nester.designs import DESIGNS

    row = None if fold(name) in DESIGNS else _find_custom_design(session, name)
    return row.text if row is not None else None


def built_in_design(name: str) -> Design:
    """Return the built-in design of that name, where there is no shop at hand.

    Raises
    ------
    Refusal
        If there is none; it says which there are.
    """
    from nester.designs import DESIGNS

    design = DESIGNS.get(fold(name))
    if design is None:
        raise _unknown(name, list(DESIGNS))
    return design


def design_named(session: Session | None, name: str) -> Design:
    """Return a design of the shop's own or a built-in one; only these where there is no shop."""
    return built_in_design(name) if session is None else find_design(session, name)


def unit_of(session: Session | None, asked: Unit | None = None) -> Unit:
    """Return the unit asked for, else the shop's, in which its orders are taken, else cm."""
    from nester.core.lengths import Unit

    if asked is not None:
        return asked
    return Unit.CM if session is None else session.get_one(Shop, 1).unit


def read_paper_specs(session: Session | None, texts: Mapping[str, str]) -> dict[str, PaperSpec]:
    """Read what each part is made of.

    Parameters
    ----------
    texts
        By part, the name of one of the shop's papers, or a weight in g/m².

    Raises
    ------
    Refusal
        If there is no such paper, or no shop to look in.
    """
    from nester.designs.base.thickness import PaperSpec, bulk_of_finish

    read = {}
    for role, text in texts.items():
        if text.isascii() and text.isdigit() and 0 < int(text) <= 2000:
            read[role] = PaperSpec(int(text))
        elif session is None:
            raise Refusal(
                f"--paper {role}: there is no shop to look for papers in; give a weight"
                " in g/m², such as 300"
            )
        else:
            paper = find_paper(session, text)
            known = paper.grain is not Grain.UNKNOWN
            read[role] = PaperSpec(
                paper.grammage, paper.caliper, bulk_of_finish(paper.finish), known
            )
    return read


def read_sheet_prices(texts: Mapping[str, str], unit: Unit) -> list[tuple[Size, Decimal]]:
    """Read what sheets cost.

    Parameters
    ----------
    texts
        Prices by size: ``{"50x70cm": "1.55"}``.

    Raises
    ------
    Refusal
        If a size or a price can't be read.
    """
    from inventory.core.money import parse_money
    from nester.core.sheet_sizes import parse_size

    return [
        (parse_size(size, unit), parse_money(price, f"the price of a sheet of {size}"))
        for size, price in texts.items()
    ]


def datasheet_of(
    session: Session | None,
    name: str,
    sizes: Mapping[str, str],
    papers: Mapping[str, str],
    unit: Unit | None = None,
) -> tuple[Datasheet, Unit]:
    """Work a design out, and say in which unit.

    Parameters
    ----------
    papers
        By part, as `read_paper_specs` reads them.
    unit
        The unit of bare numbers; the shop's, unless given.

    Raises
    ------
    Refusal
        If there is no such design, or it can't be made so.
    """
    from nester.designs import check_roles
    from nester.designs.base.datasheet import make_datasheet

    design = design_named(session, name)
    check_roles(design, papers)
    specs = read_paper_specs(session, papers)
    used = unit_of(session, unit)
    return make_datasheet(design, sizes, specs, used, defaults_in=unit_of(session)), used


def check_design_file(path: Path) -> list[str]:
    """Return what is wrong with a design of the maker's own, by line; and whether its folds close.

    Raises
    ------
    Refusal
        If the file can't be read.
    """
    from nester.core.lengths import Unit
    from nester.designs.base.datasheet import make_datasheet
    from nester.designs.custom.reader import check_custom_design, read_custom_design

    text = read_design_file(path)
    findings = [str(finding) for finding in check_custom_design(text, str(path))]
    if findings:
        return findings
    sheet = make_datasheet(read_custom_design(text, str(path)), {}, {}, Unit.CM)
    return [f"{path}: it does not fold: {fault}" for fault in sheet.fold_faults]


def _find_custom_design(session: Session, name: str) -> CustomDesign | None:
    return session.scalar(select(CustomDesign).where(CustomDesign.name_key == fold(name)))


def _unknown(name: str, known: Iterable[str]) -> Refusal:
    hint = did_you_mean(name, known) or _known_names(known)
    return Refusal(f"there is no design '{shorten(name)}'{hint}")


def _known_names(known: Iterable[str]) -> str:
    names = ", ".join(known)
    return f"; there are {names}" if names else "; none was added yet"
