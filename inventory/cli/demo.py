"""`quirebox demo`: an invented shop and its week, from the stash to the shopping list."""

from __future__ import annotations

import shutil
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from inventory.core.files import make_folder, write_file
from nester.core.errors import Refusal
from nester.core.problem import Effort

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile

__all__ = ["demo", "fill_costs"]

_FOLDER = Path("quirebox-demo")
_SHOP = "shop.sqlite"
_MARKER_FILE = "made-by-quirebox-demo.txt"
_POUND = Decimal("1.17")
"""Invented, like all in the demo."""


def demo() -> None:
    """Make an invented shop, plan its week and write the plan's files, all in one new folder.

    It asks nothing and can be run again: a demo of before is made anew.

    \b
    Example:
      quirebox demo
    """
    from inventory.cli.shared.options import searching_in
    from inventory.cli.shared.terminal import console
    from inventory.database.open import open_shop
    from inventory.documents.plan.document_set import DocumentOptions
    from inventory.documents.plan.facts_from_book import with_shop_data
    from inventory.documents.plan.files import write_documents
    from inventory.documents.plan.text import plan_summary
    from inventory.production.planning import plan_batch
    from inventory.stock.lookup import get_batch
    from nester.core.lengths import Unit

    _clear(_FOLDER)
    shop = _FOLDER / _SHOP
    with open_shop(shop, create=True, name="Hazelmoth", unit=Unit.CM, currency="EUR") as shop_file:
        typer.echo(f"A shop is made in {shop}")
        _fill(shop_file)
        typer.echo("Its orders are planned …")
        with searching_in(shop_file, None) as search:
            plan = plan_batch(shop_file, effort=Effort.QUICK, today=date.today(), **search)
        if plan.batch is None:
            raise Refusal("the demo's stash is too small for any of its orders")
        with shop_file.read() as session:
            batch = get_batch(session, plan.batch)
            options = with_shop_data(DocumentOptions(), session, batch, plan)
    console().print(plan_summary(plan, options.pace))
    papers = _FOLDER / f"batch-{plan.batch}"
    count = len(write_documents(plan, papers, options))
    typer.echo(f"{count} files are in {papers}: what to print and pin up in")
    typer.echo(
        f"batch-{plan.batch}.pdf, the same for a phone as .html, lists as data, and pictures"
    )
    typer.echo(f"of the layouts in {papers / 'layouts'}.")
    typer.echo("Look further:")
    typer.echo(f"  quirebox --shop {shop} batch steps {plan.batch} --layout 1")
    typer.echo(f"  quirebox --shop {shop} stash list --colour black")
    typer.echo(f"  quirebox --shop {shop} order cost 1")
    typer.echo(f"  quirebox --shop {shop} buy list")


def _fill(shop_file: ShopFile) -> None:
    from inventory.core.resources import demo_folder
    from inventory.database.tables.base import Reason
    from inventory.orders.import_orders import import_orders
    from inventory.purchasing.prices import read_prices, store_prices
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
    typer.echo(f"In it are {papers} papers, {sheets} sheets, {offcuts} offcuts, {orders} orders,")
    typer.echo(f"and the prices of {len(prices.lines)} suppliers")


def fill_costs(session: Session, folder: Path) -> None:
    """Put into the book what the demo shop reckons with: ``costs.toml`` and ``postage.csv``."""
    import tomllib

    from inventory.core.durations import read_minutes
    from inventory.core.money import parse_money
    from inventory.costs import rates
    from inventory.database.tables.base import Reason
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
    """Make the demo's folder, or empty it of what an earlier demo made, and of nothing else."""
    mark = folder / _MARKER_FILE
    if not folder.exists():
        make_folder(folder)
        write_file(mark, "What 'quirebox demo' makes here is made anew when it runs again.\n")
    elif not mark.is_file():
        raise Refusal(f"{folder} is here already and was not made by the demo; run it elsewhere")
    for old in [*folder.glob(f"{_SHOP}*"), *folder.glob("batch-*")]:
        try:
            if old.is_dir() and not old.is_symlink():
                shutil.rmtree(old)
            else:
                old.unlink()
        except OSError as why:
            raise Refusal(
                f"{old}: it is of an earlier demo and can't be removed ({why.strerror or why});"
                " remove it, or run the demo elsewhere"
            ) from None
