"""How long a large price list takes: ``python -m tests.benchmarks.price_list`` (CPU seconds).

An invented list of 10,000 lines of 500 papers, read from CSV and from a workbook, compared with
what the book knows and kept; then all prices changed; then the offers of a day.
"""

from __future__ import annotations

import tempfile
from datetime import date, timedelta
from pathlib import Path

from openpyxl import Workbook

from inventory.database.open import open_shop
from inventory.database.shop_file import ShopFile
from inventory.purchasing.price_list_reader import read_prices
from inventory.purchasing.prices import current_offers, price_changes, store_prices
from inventory.stock.papers import add_paper
from nester.core.lengths import Unit
from tests.benchmarks.stash import measure

PAPERS, LINES, TODAY = 500, 10_000, date(2027, 3, 1)


def rows(more: int) -> list[list[str]]:
    head = ["paper", "size", "pack", "price"]
    return [head] + [
        [f"Paper {n % PAPERS}", f"{50 + n // PAPERS}x70cm", "25", f"{n % 90 + 1 + more}.50"]
        for n in range(LINES)
    ]


def keep(shop: ShopFile, path: Path, day: date) -> None:
    with shop.read() as session:
        sheet = read_prices(session, path, Unit.CM, today=day, supplier="Mill")
        price_changes(session, sheet, day, whole=True)
    with shop.begin() as session:
        store_prices(session, sheet, day, whole=True)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        csv, xlsx = folder / "first.csv", folder / "second.xlsx"
        csv.write_text("\n".join(map(",".join, rows(0))) + "\n", encoding="utf-8")
        book = Workbook()
        for row in rows(1):
            book.active.append(row)
        book.save(xlsx)
        with open_shop(folder / "shop.sqlite", create=True) as shop:
            with shop.begin() as session:
                for number in range(PAPERS):
                    add_paper(session, f"Paper {number}", colour="c", grammage=200)
            later = TODAY + timedelta(1)
            measure("10,000 prices of CSV, all new", lambda: keep(shop, csv, TODAY))
            measure("10,000 of a workbook, all dearer", lambda: keep(shop, xlsx, later))
            measure("the same again, nothing new", lambda: keep(shop, xlsx, later))
            with shop.read() as session:
                measure("all 10,000 offers", lambda: current_offers(session, today=later))
                measure(
                    "the offers of one paper",
                    lambda: current_offers(session, ["Paper 3"], today=later),
                )


if __name__ == "__main__":
    main()
