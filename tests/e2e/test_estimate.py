"""`quirebox estimate` as it is promised: what it takes, what it refuses, what it answers."""

from __future__ import annotations

import pytest
from rich.cells import cell_len

from tests.e2e.conftest import Desk

BOX = ("estimate", "layered-box", "panel=12cm", "tiers=2", "mats=outside")
PAPERS = ("--paper", "all=night", "--paper", "mat=frost")


def test_what_to_buy_and_what_each_costs(desk: Desk) -> None:
    told = ("--on", "50x70cm=1.20", "--on", "frost:70x100cm=9/5", "--quantity", "3")
    data = desk.data("estimate", *BOX, *PAPERS, *told, "--json")
    assert (data["design"], data["currency"]) == ("layered-box", None)
    assert [one["quantity"] for one in data["estimates"]] == [1, 3, 10, 50]
    for one in data["estimates"]:
        paid = sum(line["packs"] * line["price"] for line in one["buy"]) + one["shipping"]
        assert one["cost"] == pytest.approx(paid)
        assert one["each"] == pytest.approx(paid / one["quantity"])
        assert 0 < one["bound"] <= one["cost"]
        assert {line["paper"] for line in one["buy"]} == {"night", "frost"}
        assert all(line["sheets"] == line["packs"] * line["pack"] for line in one["buy"])
        cut = sum(layout["copies"] for layout in one["cutting"]["layouts"])
        assert sum(line["used"] for line in one["buy"]) == cut
        assert one["cutting"]["unplaced"] == []
    each = [one["each"] for one in data["estimates"]]
    assert each[-1] <= each[0]


def test_as_text_with_pictures(desk: Desk) -> None:
    text = desk.do(*BOX, "--on", "50x70cm=1.20", "--drawings", "pictures")
    assert max(map(cell_len, text.splitlines())) <= 80
    assert "What it costs" in text
    assert "What to buy" in text
    assert list((desk.folder / "pictures").glob("*.svg"))


def test_what_fits_no_sheet_is_listed(desk: Desk) -> None:
    ran = desk.run(*BOX, "--on", "A4=0.30")
    assert (ran.code, ran.err) == (3, "")
    assert "Not placed" in ran.out
    assert "it is larger than every sheet" in ran.out
    assert "don't include the pieces that are not placed" in ran.out


@pytest.fixture
def shop(desk: Desk) -> Desk:
    """A shop whose one paper is offered in one size, its fibres along the short side."""
    for words in (
        ("shop", "new", "Hazelmoth", "--unit", "cm", "--currency", "EUR"),
        ("paper", "add", "Fern card", "--colour", "green", "--grammage", "250"),
        ("paper", "set", "Fern card", "--grain", "short"),
        ("buy", "supplier", "set", "Mill"),
        ("buy", "prices", "set", "Mill", "Fern card", "36x20cm", "1"),
    ):
        desk.do(*words, run=desk.run_here)
    return desk


def sheets_for_ten(shop: Desk, *words: str) -> int:
    size = ("width=10cm", "height=18cm", "mats=none")
    told = ("estimate", "folded-card", *size, "--paper", "all=Fern card")
    data = shop.data("estimate", *told, "--json", *words, run=shop.run_here)
    (line,) = next(one for one in data["estimates"] if one["quantity"] == 10)["buy"]
    return int(line["sheets"])


def test_the_shops_gap_and_grain_hold_unless_told(shop: Desk) -> None:
    """Two cards of 20 × 18 cm fill a sheet of 36 × 20 cm; their folds want fibres along 18 cm."""
    assert sheets_for_ten(shop) == 10
    shop.do("shop", "set", "--ignore-grain", run=shop.run_here)
    assert sheets_for_ten(shop) == 5
    assert sheets_for_ten(shop, "--gap", "1mm") == 10
    shop.do("shop", "set", "--gap", "1mm", run=shop.run_here)
    assert sheets_for_ten(shop) == 10
    assert sheets_for_ten(shop, "--gap", "0") == 5


def test_the_shops_trimmer_holds_unless_told(shop: Desk) -> None:
    """Small cards need cuts in two ways to come off a sheet."""
    shop.do("shop", "set", "--stages", "1", "--ignore-grain", run=shop.run_here)
    size = ("width=4cm", "height=8cm", "mats=none")
    small = ("estimate", "folded-card", *size, "--paper", "all=Fern card")
    ran = shop.run_here(*small)
    assert ran.code == 3
    assert "Not placed" in ran.out
    shop.do(*small, "--stages", "any", run=shop.run_here)


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "say which sheets there are"),
        (("--on", "=50x70cm"), "write a sheet and its price"),
        (("--on", "50x70cm", "--on", "A4=1"), "some sheets have a price and some have none"),
        (("--on", "50x70cm=-1"), "must not be less than zero"),
        (("--on", "50x70cm=3/0"), "the sheets in a pack must be 1 to"),
        (("--on", "50x70cm=3/x"), "not a number of sheets in a pack"),
        (("--on", "ecru:50x70cm=3"), "nothing is cut from 'ecru'"),
        (("--on", "50x70cm=3", "--on", "50x70cm=4"), "twice"),
        (("--on", "wide=3"), "is not a size"),
        (("--on", "50x70cm=3", "--paper", "roof=night"), "has no part 'roof'"),
    ],
)
def test_refusals(desk: Desk, options: tuple[str, ...], why: str) -> None:
    assert why in desk.refuses(*BOX, *options, run=desk.run_here)


def test_without_prices_sheets_and_packs_alone(desk: Desk) -> None:
    words = (*BOX, "--on", "50x70cm", "--on", "A4 by 20", "--quantity", "20")
    data = desk.data("estimate", *words, "--json", run=desk.run_here)
    for one in data["estimates"]:
        assert one["cost"] is one["each"] is one["shipping"] is one["bound"] is None
        assert all(line["price"] is None for line in one["buy"])
        assert sum(line["sheets"] for line in one["buy"]) > 0
    ribbons = [one["supplies"] for one in data["estimates"]]
    assert [one[0]["name"] for one in ribbons] == ["ribbon"] * len(ribbons)
    assert ribbons[2][0]["amount"] == pytest.approx(20 * ribbons[0][0]["amount"])
    text = desk.do(*words, run=desk.run_here)
    assert "What it costs" not in text
    assert "No prices were given" in text
    assert "Apart from paper, 20 copies need: ribbon 17.4 m, adhesive" in " ".join(text.split())


def test_spare_pieces_are_estimated_too(desk: Desk) -> None:
    plain = desk.data("estimate", *BOX, "--on", "50x70cm=1", "--json", run=desk.run_here)
    more = desk.data(
        "estimate", *BOX, "--on", "50x70cm=1", "--spare", "tier=2", "--json", run=desk.run_here
    )

    def tiers(data: dict) -> list[int]:
        return [
            sum(
                layout["copies"]
                for layout in one["cutting"]["layouts"]
                for piece in layout["pieces"]
                if piece["name"] == "tier 1"
            )
            for one in data["estimates"]
        ]

    assert tiers(plain) == [1, 10, 50]
    assert tiers(more) == [3, 12, 52]
