"""What commands say to a slip of the hand, and to whoever works on several shops."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inventory.database.open import PATH_VARIABLE

if TYPE_CHECKING:
    from tests.integration.conftest import Hand


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("batch plan --seconds 0", "--seconds must be at least 1."),
        ("batch plan --seconds inf", "--seconds must be at most 86400."),
        ("stash log --most x", "--most must be a whole number."),
        ("stash list --most 0", "--most must be at least 1."),
        ("batch plan --cuts odd", "--cuts: 'odd' is not one of 'straight', 'free'."),
        ("place add Shelf A", "'A' is one word too many; put a name of several words in quotes."),
        ("order board --nope", "there is no option --nope; --help lists them all."),
        ("stash tidy", "there is no command 'tidy'; --help lists them all."),
        ("batch cut", "number is missing; --help shows how to write the command."),
    ],
)
def test_a_slip_is_told_in_plain_words(hand: Hand, words: str, said: str) -> None:
    assert hand.refused(*words.split()) == f"quirebox: {said}\n"


def test_what_to_do_next_is_said_of_the_shop_that_was_named(hand: Hand, shop_path: Path) -> None:
    named = ("--shop", str(shop_path))
    hand.does(*named, "paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    hand.does(*named, "sheet", "add", "Coal card", "50x70cm")
    hand.does(
        *named, "order", "add", "Ines", "gift-tag", "--due", "in 5 days", "--paper", "all=Coal card"
    )
    assert f"Next: quirebox --shop {shop_path} batch steps 1" in hand.does(
        *named, "batch", "plan", "--effort", "quick"
    )


def test_designs_of_a_shop_that_is_named_and_not_there(
    hand: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PATH_VARIABLE, "/no/such.sqlite")
    assert "there is no shop at /no/such.sqlite" in hand.refused("design", "list")


def test_pictures_of_an_earlier_fit_are_removed_and_nothing_else(
    hand: Hand, tmp_path: Path
) -> None:
    pieces, sheets, folder = (tmp_path / name for name in ("pieces.csv", "sheets.csv", "drawn"))
    pieces.write_text("name,width,height,quantity\ncard,50,50,1\n", encoding="utf-8")
    sheets.write_text("name,width,height,quantity\nsheet,60,60,\n", encoding="utf-8")
    folder.mkdir()
    for name in ("007.svg", "tag.svg"):
        (folder / name).write_text("old", encoding="utf-8")
    words = ("fit", str(pieces), str(sheets), "--drawings", str(folder))
    assert "007.svg exists already" in hand.refused(*words)
    hand.does(*words, "--yes")
    assert sorted(path.name for path in folder.iterdir()) == ["001.svg", "tag.svg"]


def test_names_in_a_fit_are_told_apart_as_in_the_book(hand: Hand, tmp_path: Path) -> None:
    pieces, sheets = tmp_path / "pieces.csv", tmp_path / "sheets.csv"
    pieces.write_text("name,width,height,quantity\nmat 1,5,5,1\nmat  １,5,5,1\n", "utf-8")
    sheets.write_text("name,width,height,quantity\nsheet,60,60,\n", "utf-8")
    assert "stands in line 2 already" in hand.refused("fit", str(pieces), str(sheets))
