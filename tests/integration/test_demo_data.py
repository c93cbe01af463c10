"""The demo shop: its lists load as they are, and hang together."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from inventory.advice.fit_lists import read_problem
from inventory.core.resources import demo_folder
from inventory.costs.order_costs import order_cost
from inventory.costs.rates import rates_of
from inventory.database.open import open_shop
from inventory.database.tables.enums import Pattern, Reason, StockKind
from inventory.database.tables.orders import Order
from inventory.database.tables.stock import Paper
from inventory.demo import fill_costs
from inventory.orders.import_orders import import_orders
from inventory.orders.orders import list_orders, order_pieces
from inventory.purchasing.price_list_reader import read_prices
from inventory.purchasing.prices import current_offers, store_prices
from inventory.purchasing.suppliers import set_rate, supplier_terms
from inventory.stock.import_lists import import_offcuts, import_papers, import_sheets
from inventory.stock.listing import StashRow, list_stash
from inventory.stock.papers import list_papers
from nester.core.lengths import Unit, cm
from nester.core.sheet_sizes import parse_size
from nester.designs import DESIGNS, read_settings

if TYPE_CHECKING:
    from pathlib import Path

    from nester.core.piece import Piece

TODAY = date(2027, 3, 1)


class Loaded:
    """What a fresh shop holds once the demo's lists are in it."""

    def __init__(self, path: Path, unit: Unit) -> None:
        folder = demo_folder()
        with open_shop(path, create=True, name="Demo", unit=unit, currency="EUR") as shop:
            with shop.begin() as session:
                self.counts = {
                    "papers": import_papers(session, folder / "papers.csv"),
                    "sheets": import_sheets(
                        session, folder / "sheets.csv", unit, reason=Reason.OPENING
                    ),
                    "offcuts": import_offcuts(
                        session, folder / "offcuts.csv", unit, reason=Reason.OPENING
                    ),
                }
                self.counts["orders"], self.warnings = import_orders(
                    session, folder / "orders.csv", TODAY
                )
                set_rate(session, "GBP", Decimal("1.17"), TODAY)
                prices = read_prices(session, folder / "prices.csv", unit, today=TODAY)
                self.counts["prices"] = sum(map(len, prices.lines.values()))
                store_prices(session, prices, TODAY)
            with shop.read() as session:
                self.offers = current_offers(session, today=TODAY)
                self.terms = supplier_terms(session, today=TODAY)
                self.papers: list[Paper] = list_papers(session)
                self.stash: list[StashRow] = list_stash(session)
                self.orders: list[Order] = list_orders(session)
                self.pieces: list[list[tuple[Piece, str]]] = [
                    order_pieces(session, order) for order in self.orders
                ]

    def areas_wanted(self) -> Counter[str]:
        """The areas of all blanks, by paper."""
        areas: Counter[str] = Counter()
        for order, pieces in zip(self.orders, self.pieces, strict=True):
            for piece, paper in pieces:
                areas[paper] += piece.width * piece.height * piece.quantity * order.copies
        return areas

    def areas_in_stash(self) -> Counter[str]:
        """The areas of all sheets and offcuts, by paper."""
        areas: Counter[str] = Counter()
        for row in self.stash:
            areas[row.paper] += row.width * row.height * row.quantity
        return areas


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    return Loaded(tmp_path_factory.mktemp("demo") / "shop.sqlite", Unit.CM)


def lines(name: str) -> list[dict[str, str]]:
    with (demo_folder() / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_all_of_it_loads_without_a_warning(demo: Loaded) -> None:
    assert demo.warnings == []
    assert demo.counts == {
        "papers": len(lines("papers")),
        "sheets": sum(int(line["quantity"]) for line in lines("sheets")),
        "offcuts": sum(int(line["quantity"]) for line in lines("offcuts")),
        "orders": len(lines("orders")),
        "prices": len(lines("prices")),
    }


def test_every_paper_is_on_a_price_list_of_today(demo: Loaded) -> None:
    assert {one.paper for one in demo.offers} == {paper.name for paper in demo.papers}
    assert len(demo.offers) == len(lines("prices"))
    assert {one.supplier for one in demo.offers} == {one.supplier for one in demo.terms}
    assert {one.currency for one in demo.offers} == {"EUR", "GBP"}
    assert all(one.shipping and one.free_from for one in demo.terms)
    several = Counter((one.paper, one.width, one.height) for one in demo.offers)
    assert max(several.values()) > 1
    # Every piece of the demo's orders can be cut from something that is on sale.
    for order in demo.pieces:
        for piece, paper in order:
            sides = sorted((piece.width, piece.height))
            assert any(
                all(map(int.__le__, sides, sorted((one.width, one.height))))
                for one in demo.offers
                if one.paper == paper
            ), (piece.name, paper)


def test_the_stash_adds_up_to_the_lists(demo: Loaded) -> None:
    listed: Counter[str] = Counter()
    for name in ("sheets", "offcuts"):
        for line in lines(name):
            width, height = parse_size(line["size"])
            listed[line["paper"]] += width * height * int(line["quantity"])
    assert demo.areas_in_stash() == listed
    offcuts = [row for row in demo.stash if row.kind is StockKind.OFFCUT]
    assert sum(row.quantity for row in offcuts) == demo.counts["offcuts"]


def test_the_shop_is_large_enough_to_show_something(demo: Loaded) -> None:
    assert len(demo.papers) >= 10
    assert {paper.pattern for paper in demo.papers} == set(Pattern)
    assert len({line["size"] for line in lines("sheets")}) >= 4
    assert any(line["size"].endswith("in") for line in lines("sheets"))
    assert any(line["size"].endswith("cm") for line in lines("sheets"))
    assert demo.counts["offcuts"] >= 12
    assert len(demo.orders) == 12
    assert len({order.design for order in demo.orders} & set(DESIGNS)) >= 3
    assert any("in" in size for order in demo.orders for size in order.sizes.values())
    assert 20 <= sum(order.copies for order in demo.orders) <= 40
    pieces = sum(
        piece.quantity * order.copies
        for order, of_order in zip(demo.orders, demo.pieces, strict=True)
        for piece, _ in of_order
    )
    assert 500 <= pieces <= 900


def test_the_orders_are_spread_over_two_weeks(demo: Loaded) -> None:
    days = [order.due - TODAY for order in demo.orders]
    assert days[0] == timedelta(2)
    assert days[-1] == timedelta(14)
    assert len(set(days)) == len(days)
    assert len({order.customer for order in demo.orders}) == len(demo.orders)


def test_everything_is_priced_placed_and_used(demo: Loaded) -> None:
    for row in demo.stash:
        assert row.place, row.label
        assert row.price or row.area_price, row.label
    names = {paper.name for paper in demo.papers}
    assert set(demo.areas_wanted()) == names
    assert set(demo.areas_in_stash()) == names


def test_all_of_a_cost_is_known(demo: Loaded, tmp_path: Path) -> None:
    loaded = tmp_path / "shop.sqlite"
    Loaded(loaded, Unit.CM)
    with open_shop(loaded) as shop:
        with shop.begin() as session:
            fill_costs(session, demo_folder())
        for order in demo.orders[:3]:
            told = order_cost(shop, order.id, today=TODAY)
            assert told.cost.unknown == told.cost.unweighed == ()
            assert told.cost.sale.margin_share >= Fraction(20, 100)
        # The largest photos of all are in the order with the widest panels.
        wide = next(one for one in demo.orders if one.sizes.get("panel") == "20cm")
        printed = {(piece.width, piece.height) for piece, _ in demo.pieces[demo.orders.index(wide)]
                   if piece.role == "photo"}  # fmt: skip
        with shop.read() as session:
            prices = rates_of(session).prints
        for short, long in map(sorted, printed):
            assert any(short <= one.width and long <= one.height for one in prices)


def test_the_orders_mean_the_same_in_a_shop_of_millimetres(demo: Loaded, tmp_path: Path) -> None:
    assert Loaded(tmp_path / "shop.sqlite", Unit.MM).pieces == demo.pieces


def test_the_stash_is_short_for_the_last_orders_alone(demo: Loaded) -> None:
    wanted, there = demo.areas_wanted(), demo.areas_in_stash()
    short = {paper for paper in wanted if wanted[paper] > there[paper]}
    ample = {paper for paper in wanted if 2 * there[paper] >= 3 * wanted[paper]}
    assert short
    assert short | ample == set(wanted)
    assert len(ample) > len(wanted) * 3 // 4
    late = {
        order.customer
        for order, pieces in zip(demo.orders, demo.pieces, strict=True)
        if short & {paper for _, paper in pieces}
    }
    assert late <= {order.customer for order in demo.orders[-2:]}


def test_every_piece_fits_something_of_its_paper(demo: Loaded) -> None:
    directional = {p.name for p in demo.papers if p.pattern is Pattern.DIRECTIONAL}
    for pieces in demo.pieces:
        for piece, paper in pieces:
            sizes = {(piece.width, piece.height)}
            if not (piece.upright and paper in directional):
                sizes.add((piece.height, piece.width))
            assert any(
                row.paper == paper and width <= row.width and height <= row.height
                for row in demo.stash
                for width, height in sizes
            ), (piece.name, paper)


def test_the_estimate_is_of_a_box_as_the_design_makes_it() -> None:
    design = DESIGNS["layered-box"]
    said = {"panel": "18cm", "tiers": "4", "cards": "4", "card-size": "13.5cm"}
    problem = read_problem(demo_folder() / "fit_pieces.csv", demo_folder() / "fit_sheets.csv")
    assert {(one.name, one.width, one.height, one.quantity) for one in problem.demands} == {
        (piece.name, piece.width, piece.height, piece.quantity)
        for piece in design.pieces(read_settings(design, said, Unit.CM))
    }


def test_the_estimate_is_on_sheets_to_buy_and_a_few_offcuts() -> None:
    problem = read_problem(demo_folder() / "fit_pieces.csv", demo_folder() / "fit_sheets.csv")
    full, *offcuts = problem.stock
    assert (full.width, full.height, full.quantity) == (cm(56), cm(71), None)
    assert [one.quantity for one in offcuts] == [1, 1]
    assert all(one.price < full.price for one in offcuts)
    assert {one.paper for one in (*problem.demands, *problem.stock)} == {"Coal card"}
