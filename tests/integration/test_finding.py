"""Paper found by colour, weight, size, place and age; offcuts found for a piece."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.database.open import open_shop
from inventory.stock import adjust, papers, receiving
from inventory.stock.search import find_page, nearest_papers, offcuts_for, read_colour
from nester.core.errors import Refusal
from nester.core.lengths import cm
from nester.core.piece import Turn
from nester.core.problem import Effort
from tests.integration.conftest import Table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.orm import Session

    from inventory.database.shop_file import ShopFile
    from tests.integration.conftest import Hand

NOW = datetime(2027, 3, 1, 12, tzinfo=UTC)
PAPERS = {
    "Fern": ("green", "#3a7d44", 160),
    "Pine": ("green", "#1e4d2b", 300),
    "Brick": ("red", "#b5432e", 300),
    "Plain": ("white", None, 120),
}


def fill(session: Session) -> None:
    for name, (colour, swatch, grammage) in PAPERS.items():
        papers.add_paper(session, name, colour=colour, swatch=swatch, grammage=grammage,
                        finish="linen" if name == "Fern" else "smooth")  # fmt: skip
        receiving.add_sheets(session, name, (cm(50), cm(70)), 3, place="Shelf A / Drawer 1", at=NOW)
        receiving.add_offcut(session, name, (cm(20), cm(30)), place="Shelf B",
                         at=NOW - timedelta(days=400))  # fmt: skip


@pytest.fixture
def session(shop: ShopFile) -> Iterator[Session]:
    with shop.begin() as opened:
        fill(opened)
        yield opened


def found(session: Session, **asked) -> list[str]:
    return [one.row.label for one in find_page(session, None, now=NOW, **asked)[0]]


def test_colours_are_read_by_hex_and_by_name() -> None:
    assert read_colour("#1A2B3C") == read_colour("1a2b3c") == "#1a2b3c"
    assert read_colour("dark green") == "#006400"
    assert read_colour("greenish") is read_colour("") is read_colour("rgb(1,2,3)") is None


def test_the_nearest_colour_comes_first(session: Session) -> None:
    assert [paper.name for _, paper in nearest_papers(session, "#1f4e2c")] == [
        "Pine", "Fern", "Brick",
    ]  # fmt: skip
    assert found(session, colour="#1f4e2c") == ["K-2", "S-2"]
    assert found(session, colour="1f4e2c", near=25) == ["K-2", "S-2", "K-1", "S-1"]
    (first, *_) = find_page(session, None, colour="#1e4d2b", now=NOW)[0]
    assert first.distance == pytest.approx(0)
    with pytest.raises(Refusal, match="'mossy' is not the colour of a paper here"):
        find_page(session, None, colour="mossy", now=NOW)


def test_words_are_found_before_colours_are_compared(session: Session) -> None:
    assert found(session, colour="GREEN") == ["K-1", "S-1", "K-2", "S-2"]
    assert found(session, colour="brick") == ["K-3", "S-3"]
    assert find_page(session, None, colour="green", now=NOW)[0][0].distance is None


def test_the_rest_that_can_be_asked(session: Session) -> None:
    assert found(session, finish="LIN") == ["K-1", "S-1"]
    assert found(session, weight=(300, 300)) == ["K-3", "S-3", "K-2", "S-2"]
    assert found(session, weight=(121, 299)) == ["K-1", "S-1"]
    assert found(session, colour="red", at_least=(cm(60), cm(40))) == ["S-3"]
    assert found(session, colour="red", place="shelf a") == ["S-3"]
    assert found(session, colour="red", kind="offcut") == ["K-3"]
    assert found(session, colour="red", older_than=timedelta(days=399)) == ["K-3"]
    assert found(session, older_than=timedelta(days=400)) == []


def test_offcuts_for_a_piece_the_smallest_first(session: Session) -> None:
    receiving.add_offcut(session, "Fern", (cm(40), cm(19)))
    receiving.add_offcut(session, "Fern", (cm(18), cm(25)))
    told = offcuts_for(session, (cm(24), cm(17)), ["fern"])
    assert [(one.label, one.turned) for one in told] == [
        ("K-6", True), ("K-1", True), ("K-5", False),
    ]  # fmt: skip
    with pytest.raises(Refusal, match="there is no paper 'Fren'"):
        offcuts_for(session, (cm(24), cm(17)), ["Fren"])
    adjust.spoil_stock(session, "K-6")
    assert "K-6" not in [one.label for one in offcuts_for(session, (cm(24), cm(17)))]


def test_a_pattern_with_a_top_is_not_turned(session: Session) -> None:
    papers.add_paper(session, "Climb", colour="green", grammage=120, pattern="directional")
    receiving.add_offcut(session, "Climb", (cm(10), cm(20)))
    size = (cm(20), cm(10))
    assert [one.turned for one in offcuts_for(session, size, ["Climb"])] == [True]
    assert offcuts_for(session, size, ["Climb"], turn=Turn.NONE) == []
    assert len(offcuts_for(session, (cm(10), cm(20)), ["Climb"], turn=Turn.NONE)) == 1


def test_reserved_offcuts_are_not_offered(shop: ShopFile) -> None:
    table = Table(shop)
    table.paper()
    label = table.offcut((cm(20), cm(20)))
    table.card()
    table.plan(effort=Effort.QUICK)
    with shop.read() as session:
        assert offcuts_for(session, (cm(5), cm(5))) == []
        (one,) = find_page(session, None, now=datetime.now(UTC))[0]
        assert (one.row.label, one.reserved) == (label, 1)


@settings(max_examples=25, deadline=None)
@given(
    sizes=st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9)), max_size=12),
    piece=st.tuples(st.integers(1, 9), st.integers(1, 9)),
)
def test_an_offcut_is_offered_if_the_piece_fits(
    tmp_path_factory: pytest.TempPathFactory,
    empty_shop_file: Path,
    sizes: list[tuple[int, int]],
    piece: tuple[int, int],
) -> None:
    path = shutil.copy(empty_shop_file, tmp_path_factory.mktemp("shop"))
    with open_shop(Path(path)) as shop, shop.begin() as session:
        papers.add_paper(session, "Fern", colour="green", grammage=160)
        labels = {receiving.add_offcut(session, "Fern", (cm(w), cm(h))).label: (w, h)
                  for w, h in sizes}  # fmt: skip
        told = offcuts_for(session, (cm(piece[0]), cm(piece[1])))
        fits = {label for label, size in labels.items()
                if any(a <= b and c <= d for (a, c), (b, d) in
                       ((piece, size), (piece[::-1], size)))}  # fmt: skip
        assert {one.label for one in told} == fits
        areas = [one.width * one.height for one in told]
        assert areas == sorted(areas)


def test_finding_at_the_desk(shop: ShopFile, hand: Hand) -> None:
    with shop.begin() as session:
        fill(session)
    (first, *_) = hand.data("found", "stash", "find", "--colour", "#1f4e2c", "--weight", "250-320")
    assert (first["label"], first["paper"]) == ("K-2", "Pine")
    assert 0 < first["distance"] < 1
    days = (date.today() - (NOW - timedelta(days=400)).date()).days
    assert days > 0
    assert "Pine" in hand.does("stash", "find", "--colour", "pine")
    assert len(hand.data("holders", "offcut", "for", "12x18cm", "--paper", "Fern")) == 1
    assert "K-1" in hand.does("offcut", "for", "12x18cm")
    assert "No free offcut" in hand.does("offcut", "for", "90x90cm")
    hand.refused("stash", "find", "--weight", "heavy")
