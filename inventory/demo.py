"""An invented shop and its week, from the stash to the shopping list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.core.files import make_folder, write_files
from inventory.core.text import format_count
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from sqlalchemy.orm import Session

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile
    from nester.cutting import Pace

__all__ = ["Demo", "fill_costs", "make_demo"]

_SHOP = "shop.sqlite"
_PAPERS = "batch-1"
_MARKER_FILE = "made-by-quirebox-demo.txt"
_POUND = Decimal("1.17")
"""Invented, like all in the demo."""


@dataclass(frozen=True)
class Demo:
    """A demo that was made.

    Attributes
    ----------
    shop
        The file of its shop.
    files
        The documents of its plan, in `folder`.
    """

    shop: Path
    plan: Plan
    pace: Pace
    folder: Path
    files: list[Path]


def make_demo(
    folder: Path,
    make_plan: Callable[[ShopFile], Plan],
    say: Callable[[str], None] = lambda _: None,
) -> Demo:
    """Make an invented shop, plan its orders and write the plan's documents into a folder.

    Parameters
    ----------
    folder
        A new one, or that of an earlier demo, whose shop and documents are replaced; nothing else
        in it is touched.
    make_plan
        Plans the orders of the shop and books the plan.
    say
        Is called with a sentence on each step.

    Raises
    ------
    Refusal
        If the folder is not of a demo, or no order can be made.
    """
    from inventory.database.open import open_shop
    from inventory.documents.plan.document_set import DocumentOptions
    from inventory.documents.plan.facts_from_book import with_shop_data
    from inventory.documents.plan.files import write_documents
    from inventory.stock.lookup import get_batch
    from nester.core.lengths import Unit

    _clear(folder)
    shop = folder / _SHOP
    with open_shop(shop, create=True, name="Hazelmoth", unit=Unit.CM, currency="EUR") as shop_file:
        say(f"Made a shop in {shop}")
        say(_fill(shop_file))
        say("Planning its orders …")
        plan = make_plan(shop_file)
        if plan.batch is None:
            raise Refusal("the demo's stash is too small for any of its orders")
        with shop_file.read() as session:
            batch = get_batch(session, plan.batch)
            options = with_shop_data(DocumentOptions(), session, batch, plan)
    papers = folder / _PAPERS
    # Only the files of the same names are those of an earlier demo; what else lies in the folder
    # may be the maker's own.
    files = write_documents(plan, papers, options, may_replace=lambda _: None)
    return Demo(shop, plan, options.pace, papers, files)


def _fill(shop_file: ShopFile) -> str:
    """Put the lists of the demo into its shop; return what is in it, in a sentence."""
    from inventory.core.resources import demo_folder
    from inventory.database.tables.enums import Reason
    from inventory.orders.import_orders import import_orders
    from inventory.purchasing.price_list_reader import read_prices
    from inventory.purchasing.prices import store_prices
    from inventory.purchasing.suppliers import set_rate
    from inventory.shop.settings import get_shop
    from inventory.stock.import_lists import import_offcuts, import_papers, import_sheets

    lists, today = demo_folder(), date.today()
    with shop_file.begin() as session:
        unit = get_shop(session).unit
        papers = import_papers(session, lists / "papers.csv")
        sheets = import_sheets(session, lists / "sheets.csv", unit, reason=Reason.OPENING)
        offcuts = import_offcuts(session, lists / "offcuts.csv", unit, reason=Reason.OPENING)
        orders, _ = import_orders(session, lists / "orders.csv", today)
        set_rate(session, "GBP", _POUND, today)
        prices = read_prices(session, lists / "prices.csv", unit, today=today)
        store_prices(session, prices, today)
        fill_costs(session, lists)
    counts = ((papers, "paper"), (sheets, "sheet"), (offcuts, "offcut"), (orders, "order"))
    names = ", ".join(format_count(number, what) for number, what in counts)
    return f"It has {names} and {format_count(len(prices.lines), 'price')} from suppliers"


def fill_costs(session: Session, folder: Path) -> None:
    """Set what the demo shop calculates with: ``costs.toml`` and ``postage.csv``."""
    import tomllib

    from inventory.core.durations import read_minutes
    from inventory.core.money import parse_money
    from inventory.costs import rates
    from inventory.database.tables.enums import Reason
    from inventory.shop.settings import get_shop
    from inventory.stock import supplies
    from nester.core.sheet_sizes import parse_size

    shop = get_shop(session)
    costs = tomllib.loads((folder / "costs.toml").read_text("utf-8"))
    rates.set_rates(
        session,
        hour=parse_money(costs["hour"], "hour"),
        piece_minutes=read_minutes(costs["piece-minutes"], "piece-minutes"),
        packaging=parse_money(costs["packaging"], "packaging"),
        packaging_grams=rates.read_grams(costs["packaging-weight"], "packaging-weight"),
        wrapping=parse_money(costs["wrapping"], "wrapping"),
        wrapping_grams=rates.read_grams(costs["wrapping-weight"], "wrapping-weight"),
        fee=rates.read_percent(costs["fee"], "fee"),
        fee_fixed=parse_money(costs["fee-fixed"], "fee-fixed"),
        margin=rates.read_percent(costs["margin"], "margin"),
        endings=rates.read_endings(costs["ends"], shop.currency),
    )
    for design, minutes in costs["minutes"].items():
        rates.set_assembly(session, design, read_minutes(minutes, design))
    for text, price in costs["prints"].items():
        size = parse_size(text, shop.unit)
        rates.set_print(session, (size.width, size.height), parse_money(price, text))
    for line in costs["supplies"]:
        supply = supplies.add_supply(session, line["name"], line["by"], unit=line.get("unit", ""))
        supplies.receive_supply(
            session,
            supply.name,
            supplies.read_measure(supply, line["much"], shop.unit),
            price=parse_money(line["price"], "price"),
            reason=Reason.OPENING,
        )
        spread = line.get("spread")
        rates.set_consumable(
            session,
            line["for"],
            supply=supply.name,
            spread=None if spread is None else supplies.read_measure(supply, spread, shop.unit),
            grams=rates.read_grams(line["weight"], "weight"),
        )
    rates.import_postage(session, folder / "postage.csv")


def _clear(folder: Path) -> None:
    """Make the demo's folder, or remove the shop that an earlier demo made, and nothing else."""
    mark = folder / _MARKER_FILE
    if not folder.exists():
        make_folder(folder)
        write_files([(mark, "What 'quirebox demo' makes here is made again when it runs again.\n")])
    elif not mark.is_file():
        raise Refusal(
            f"{folder} exists already and was not made by the demo; run it in another folder"
        )
    papers = folder / _PAPERS
    if papers.is_symlink() or (papers.exists() and not papers.is_dir()):
        raise Refusal(f"{papers} is not a folder that the demo made; run it in another folder")
    for end in ("", "-wal", "-shm"):
        old = folder / f"{_SHOP}{end}"
        try:
            old.unlink(missing_ok=True)
        except OSError as why:
            raise Refusal(
                f"{old} is from an earlier demo and can't be removed ({why.strerror or why});"
                " remove it, or run the demo in another folder"
            ) from None
