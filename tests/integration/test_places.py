"""Places within places, what lies in them, and papers that stand in for others."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from inventory.stock import adjust, listing, papers, places, receiving
from inventory.stock.papers import set_substitutes, substitutes
from nester.core.errors import Refusal
from nester.core.lengths import cm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

SIZE = (cm(50), cm(70))


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        for name in ("Coal card", "Night card", "Plum card"):
            papers.add_paper(opened, name, colour="black", grammage=300)
        yield opened


def paths(session: Session) -> list[str | None]:
    book = places.PlaceTree(session)
    return [book.path(place.id) for place in book.sorted()]


def test_two_shelves_may_each_have_a_drawer_2(session: Session) -> None:
    for shelf in ("Shelf A", "Shelf B"):
        places.add_place(session, shelf)
        places.add_place(session, "Drawer 2", inside=shelf)
    assert paths(session) == ["Shelf A", "Shelf A / Drawer 2", "Shelf B", "Shelf B / Drawer 2"]
    book = places.PlaceTree(session)
    assert book.path(places.find_place(session, "shelf b/DRAWER 2").id) == "Shelf B / Drawer 2"
    with pytest.raises(Refusal, match="'Shelf A / Drawer 2' and 'Shelf B / Drawer 2'; write which"):
        places.find_place(session, "drawer 2")
    with pytest.raises(Refusal, match="there is a place 'Shelf A / Drawer 2' already"):
        places.add_place(session, "DRAWER 2", inside="Shelf A")
    with pytest.raises(Refusal, match="has a '/'"):
        places.add_place(session, "Shelf C / Box")


def test_what_is_put_away_makes_its_places(session: Session) -> None:
    receiving.add_sheets(session, "Coal card", SIZE, 3, place="Shelf A / Drawer 1 / Box")
    receiving.add_sheets(session, "Coal card", SIZE, 2, place="shelf a/drawer 1")
    assert paths(session) == ["Shelf A", "Shelf A / Drawer 1", "Shelf A / Drawer 1 / Box"]
    rows = listing.list_stash(session, place="Shelf A")
    assert [(row.label, row.place) for row in rows] == [
        ("S-1", "Shelf A / Drawer 1 / Box"), ("S-2", "Shelf A / Drawer 1"),
    ]  # fmt: skip
    assert [row.label for row in listing.list_stash(session, place="box")] == ["S-1"]
    with pytest.raises(Refusal, match="the place's name is missing"):
        receiving.add_sheets(session, "Coal card", SIZE, 3, place="Shelf A / ")


def test_a_place_moves_with_all_that_is_in_it(session: Session) -> None:
    receiving.add_sheets(session, "Coal card", SIZE, 3, place="Shelf A / Drawer 1 / Box")
    places.add_place(session, "Shelf B")
    places.move_place(session, "Drawer 1", inside="Shelf B")
    assert listing.list_stash(session)[0].place == "Shelf B / Drawer 1 / Box"
    places.move_place(session, "Drawer 1", call="Photo drawer")
    places.move_place(session, "Photo drawer", inside="")
    assert paths(session) == ["Photo drawer", "Photo drawer / Box", "Shelf A", "Shelf B"]
    with pytest.raises(Refusal, match="'Photo drawer' can't stand in itself"):
        places.move_place(session, "Photo drawer", inside="Box")
    with pytest.raises(Refusal, match="there is a place 'Shelf B' already"):
        places.move_place(session, "Shelf A", call="SHELF B")
    assert places.move_place(session, "Shelf A", call="shelf a").name == "shelf a"


def test_sheets_are_put_elsewhere_all_or_some(session: Session) -> None:
    receiving.add_sheets(session, "Coal card", SIZE, 10, place="Shelf A")
    assert adjust.set_stock_place(session, "S-1", "Shelf B").label == "S-1"
    some = adjust.set_stock_place(session, "S-1", "Workbench", 4)
    assert some.label == "S-2"
    again = adjust.set_stock_place(session, "S-1", "workbench", 1)
    assert again.label == "S-2"
    assert [(row.label, row.quantity, row.place) for row in listing.list_stash(session)] == [
        ("S-1", 5, "Shelf B"), ("S-2", 5, "Workbench"),
    ]  # fmt: skip
    assert [row.change for row in listing.stock_history(session, "S-2")] == [4, 1]
    with pytest.raises(Refusal, match="S-1 has 5 on hand, so 6 can't be taken"):
        adjust.set_stock_place(session, "S-1", "Shelf C", 6)
    assert "Shelf C" not in paths(session)
    assert adjust.set_stock_place(session, "S-1", "").place is None


def test_papers_stand_in_for_others_in_order(session: Session) -> None:
    set_substitutes(session, "Coal card", ["Plum card", "night card"])
    assert substitutes(session) == {"Coal card": ["Plum card", "Night card"]}
    set_substitutes(session, "Coal card", ["Night card", "Plum card"])
    assert substitutes(session) == {"Coal card": ["Night card", "Plum card"]}
    with pytest.raises(Refusal, match="Coal card can't stand in for itself"):
        set_substitutes(session, "Coal card", ["COAL card"])
    with pytest.raises(Refusal, match="Night card is named twice"):
        set_substitutes(session, "Coal card", ["Night card", "night card"])
    assert substitutes(session) == {"Coal card": ["Night card", "Plum card"]}
    set_substitutes(session, "Coal card", [])
    assert substitutes(session) == {}


def test_places_at_the_desk(hand: Hand) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does("paper", "add", "Night card", "--colour", "black", "--grammage", "300")
    hand.does("paper", "set", "Coal card", "--note", "cracks", "--instead", "Night card")
    (coal, _) = hand.data("papers", "paper", "list")
    assert (coal["note"], coal["instead"]) == ("cracks", ["Night card"])
    assert hand.does("place", "add", "Shelf A") == "Added the place 'Shelf A'\n"
    hand.does("place", "add", "Drawer 2", "--inside", "Shelf A")
    hand.does("offcut", "add", "Coal card", "20x30cm")
    assert hand.does("stash", "put", "k-1", "drawer 2") == ("K-1 is in 'Shelf A / Drawer 2' now\n")
    assert hand.does("place", "move", "Drawer 2", "--call", "Box") == (
        "The place is now 'Shelf A / Box'\n"
    )
    assert hand.data("places", "place", "list") == [
        {"place": "Shelf A", "name": "Shelf A", "sheets": 0, "offcuts": 0},
        {"place": "Shelf A / Box", "name": "Box", "sheets": 0, "offcuts": 1},
    ]
    assert "Box" in hand.does("place", "list")
    assert "there is no place 'Shelf X'" in hand.refused("place", "move", "Shelf X")
