from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import event, func, select, text, update
from sqlalchemy.exc import StatementError
from sqlalchemy.orm import Session

from inventory.database.shop_file import ShopFile
from inventory.database.tables.enums import Reason, StockKind
from inventory.database.tables.ledger import Movement
from inventory.database.tables.stock import Paper, Place, Stock
from inventory.shop.settings import change_shop, get_shop, record_counts
from inventory.stock import adjust, ledger, listing, lookup, papers, receiving
from inventory.stock.places import PlaceTree, add_place, find_place
from nester.core.errors import Refusal
from nester.core.lengths import MAX_LENGTH, cm, inch, mm
from nester.core.sheet_sizes import SHEET_SIZES, Size

if TYPE_CHECKING:
    from tests.integration.conftest import Hand, Table

BIG = SHEET_SIZES["50x70cm"]
SMALL = Size(inch(12), inch(12))


@pytest.fixture
def session(shop: ShopFile):
    """A write transaction in a shop with three papers."""
    with shop.begin() as session:
        papers.add_paper(session, "Night card", colour="black", grammage=300, finish="matt")
        papers.add_paper(session, "Moss linen", colour="dark green", grammage=250, finish="linen")
        papers.add_paper(
            session, "Waves", colour="Grün", grammage=120, swatch="1A2B3C",
            pattern="directional", grain="long",
        )  # fmt: skip
        yield session


def everything(session: Session) -> tuple[int, ...]:
    counts = [select(func.count()).select_from(each) for each in (Paper, Place, Stock, Movement)]
    return tuple(session.scalars(count).one() for count in counts)


def labels(session: Session, **wanted) -> list[str]:
    return [row.label for row in listing.list_stash(session, **wanted)]


# --- papers


def test_a_paper_is_found_however_it_is_spelt(session: Session) -> None:
    paper = papers.find_paper(session, "  wAVES ")
    assert (paper.name, paper.swatch, paper.pattern, paper.grain) == (
        "Waves", "#1a2b3c", "directional", "long",
    )  # fmt: skip
    papers.add_paper(session, "Straße", colour="grey", grammage=90)
    assert papers.find_paper(session, "STRASSE").name == "Straße"
    assert [each.name for each in papers.list_papers(session)] == [
        "Moss linen", "Night card", "Straße", "Waves",
    ]  # fmt: skip


@pytest.mark.parametrize("name", ["night card", "NIGHT  CARD", " Night card"])
def test_a_name_is_taken_in_any_spelling(session: Session, name: str) -> None:
    with pytest.raises(Refusal, match="there is a paper 'Night card' already"):
        papers.add_paper(session, name, colour="black", grammage=300)


def test_a_near_miss_is_offered(session: Session) -> None:
    with pytest.raises(Refusal, match="no paper 'nite card'; did you mean 'Night card'\\?"):
        papers.find_paper(session, "nite card")
    with pytest.raises(Refusal, match=r"there is no paper 'qqq'$"):
        papers.find_paper(session, "qqq")


def test_an_empty_book_says_so(shop: ShopFile) -> None:
    with shop.read() as session, pytest.raises(Refusal, match="no paper was added yet"):
        papers.find_paper(session, "Night card")


@pytest.mark.parametrize(
    "name", ['O\'Neill "best" `;--', "🎁👩‍🎨", "נייר שחור", "x" * 200, "%_\\", "e\u0301"]
)
def test_names_are_kept_as_given(session: Session, name: str) -> None:
    assert papers.add_paper(session, name, colour=name, grammage=1, finish=name).name == name
    session.expire_all()
    assert papers.find_paper(session, name).colour == name


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"name": ""}, "the paper's name is missing"),
        ({"name": "\u200d\u200d"}, "the paper's name is missing"),
        ({"name": "a\x00b"}, r"U\+0000"),
        ({"name": "a\tb"}, r"U\+0009"),
        ({"name": "a\u202eb"}, r"U\+202E"),
        ({"name": "x" * 201}, "has 201 characters"),
        ({"name": "x" * 10_000}, "has 10,000 characters"),
        ({"colour": " "}, "the paper's colour is missing"),
        ({"grammage": 0}, "must be 1 to 2,000, not 0"),
        ({"grammage": 2001}, "must be 1 to 2,000, not 2,001"),
        ({"grammage": 1.5}, "must be a whole number, not 1.5"),
        ({"swatch": "red"}, "the swatch 'red' is not a colour"),
        ({"pattern": "stripes"}, "it is one of plain, patterned, directional"),
        ({"grain": "wide"}, "it is one of unknown, long, short"),
    ],
)
def test_a_wrong_paper_is_refused(session: Session, wrong, said: str) -> None:
    before = everything(session)
    with pytest.raises(Refusal, match=said) as refused:
        papers.add_paper(session, **{"name": "New", "colour": "red", "grammage": 80, **wrong})
    assert len(str(refused.value)) < 200
    assert everything(session) == before


# --- what comes


def test_equal_sheets_share_a_label(session: Session) -> None:
    first = receiving.add_sheets(
        session, "Night card", BIG, 10, price=Decimal("1.20"), place="Shelf", note="spring lot"
    )
    second = receiving.add_sheets(
        session, "NIGHT card", tuple(BIG), 5, price=Decimal("1.2000"), place="shelf", note="more"
    )
    assert first is second
    assert (first.label, first.note, first.place.name) == ("S-1", "spring lot", "Shelf")
    assert ledger.on_hand(session, first) == 15
    assert [row.note for row in listing.stock_history(session, "S-1")] == ["spring lot", "more"]


def test_what_came_earlier_keeps_its_moment(session: Session) -> None:
    monday = datetime(2026, 3, 2, 9, tzinfo=UTC)
    receiving.add_sheets(session, "Waves", BIG, 3, reason=Reason.OPENING, at=monday)
    receiving.add_offcut(session, "Waves", SMALL, reason=Reason.OPENING, at=monday)
    for label in ("S-1", "K-1"):
        row = listing.stock_history(session, label)[0]
        assert (row.at, row.reason) == (monday, Reason.OPENING)


@pytest.mark.parametrize(
    "other",
    [{"paper": "Waves"}, {"size": Size(BIG.height, BIG.width)}, {"price": Decimal("1.21")},
     {"price": None}, {"place": "Drawer"}, {"place": None}],
)  # fmt: skip
def test_other_sheets_get_a_label_of_their_own(session: Session, other) -> None:
    one = {"paper": "Night card", "size": BIG, "price": Decimal("1.2"), "place": "Shelf"}
    receiving.add_sheets(session, quantity=10, **one)
    assert receiving.add_sheets(session, quantity=10, **{**one, **other}).label == "S-2"
    again = receiving.add_sheets(session, quantity=10, **{**one, **other})
    assert (again.label, ledger.on_hand(session, again)) == ("S-2", 20)


def test_labels_are_not_used_again(session: Session) -> None:
    for _ in range(2):
        receiving.add_offcut(session, "Waves", SMALL)
    adjust.spoil_stock(session, "K-2")
    assert receiving.add_offcut(session, "Waves", SMALL).label == "K-3"
    assert receiving.add_sheets(session, "Waves", BIG, 1).label == "S-1"


def test_an_offcut_may_know_what_it_was_cut_from(session: Session) -> None:
    receiving.add_sheets(session, "Waves", BIG, 3)
    offcut = receiving.add_offcut(
        session, "Waves", SMALL, parent="s-1", place="Drawer", note="bent"
    )
    assert offcut.parent is lookup.find_stock(session, "S-1")
    assert listing.stock_history(session, "K-1")[0].reason is Reason.KEPT
    before = everything(session)
    with pytest.raises(Refusal, match="S-1 is Waves, so an offcut of Night card can't be cut"):
        receiving.add_offcut(session, "Night card", SMALL, parent="S-1")
    assert everything(session) == before


def test_a_price_is_kept_exactly_as_text(session: Session) -> None:
    receiving.add_sheets(session, "Waves", BIG, 1, price=Decimal("0.1000"))
    receiving.add_sheets(session, "Waves", BIG, 1, price=Decimal(10**9))
    stored = session.scalars(text("SELECT price FROM stock ORDER BY id")).all()
    assert stored == ["0.1", "1000000000"]
    with pytest.raises(StatementError, match="money is a finite Decimal"):
        session.execute(update(Stock).values(price=0.1))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"paper": "Nite card"}, "did you mean 'Night card'"),
        ({"quantity": 0}, "the number of sheets must be 1 to 1,000,000, not 0"),
        ({"quantity": -3}, "not -3"),
        ({"quantity": 1_000_001}, "not 1,000,001"),
        ({"quantity": True}, "must be a whole number"),
        ({"size": (0, 5)}, "more than zero and at most 10 m"),
        ({"size": (5, MAX_LENGTH + 1)}, "more than zero and at most 10 m"),
        ({"price": Decimal(-1)}, "the price must be 0 to"),
        ({"price": Decimal("NaN")}, "the price must be 0 to"),
        ({"price": Decimal("0.00001")}, "more than 4 decimals"),
        ({"place": "two\nlines"}, "the place's name"),
        ({"note": "n" * 2001}, "the note .* has 2,001 characters"),
    ],
)
def test_wrong_sheets_are_refused(session: Session, wrong, said: str) -> None:
    before = everything(session)
    right = {"paper": "Night card", "size": BIG, "quantity": 1, "place": "New shelf"}
    with pytest.raises(Refusal, match=said):
        receiving.add_sheets(session, **{**right, **wrong})
    assert everything(session) == before


# --- what is counted or lost


def test_a_count_books_the_difference(session: Session) -> None:
    receiving.add_sheets(session, "Waves", BIG, 10)
    assert adjust.count_stock(session, "S-1", 10) is None
    assert adjust.count_stock(session, "s-1", 7, "Sunday").change == -3
    assert adjust.count_stock(session, "S-1", 9, "behind the shelf").change == 2
    rows = listing.stock_history(session, "S-1")
    assert [(row.change, row.balance, row.reason, row.note) for row in rows] == [
        (10, 10, Reason.RECEIVED, ""),
        (-3, 7, Reason.COUNTED, "Sunday"),
        (2, 9, Reason.COUNTED, "behind the shelf"),
    ]  # fmt: skip


def test_a_lost_offcut_may_turn_up_again(session: Session) -> None:
    receiving.add_offcut(session, "Waves", SMALL)
    adjust.count_stock(session, "K-1", 0)
    assert labels(session) == []
    adjust.count_stock(session, "K-1", 1)
    assert labels(session) == ["K-1"]
    adjust.count_stock(session, "K-1", 2)
    assert [(row.label, row.quantity) for row in listing.list_stash(session)] == [("K-1", 2)]


def test_more_than_there_is_can_not_be_spoiled(session: Session) -> None:
    receiving.add_sheets(session, "Waves", BIG, 2)
    adjust.spoil_stock(session, "S-1", 2, "glue")
    with pytest.raises(Refusal, match="S-1 has 0 on hand, so 1 can't be taken"):
        adjust.spoil_stock(session, "S-1")
    with pytest.raises(Refusal, match="must be 1 to 1,000,000, not 0"):
        adjust.spoil_stock(session, "S-1", 0)
    with pytest.raises(Refusal, match="nothing in the stash has the label 'S-7'"):
        adjust.spoil_stock(session, "S-7")


# --- looking


@pytest.fixture
def filled(session: Session) -> Session:
    add_place(session, "Cabinet")
    add_place(session, "Drawer", inside="cabinet")
    receiving.add_sheets(session, "Night card", BIG, 10, price=Decimal("1.40"), place="Shelf")
    receiving.add_sheets(session, "Night card", SMALL, 4, place="Drawer")
    receiving.add_sheets(session, "Moss linen", BIG, 3, place="Cabinet")
    receiving.add_sheets(session, "Waves", SMALL, 2)
    receiving.add_offcut(session, "Night card", (cm(20), cm(50)), place="Drawer")
    receiving.add_offcut(session, "Night card", (cm(30), cm(40)))
    adjust.spoil_stock(session, "S-4", 2)
    return session


def test_the_stash_is_listed_by_paper_kind_and_size(filled: Session) -> None:
    rows = listing.list_stash(filled)
    assert [(row.paper, row.label, row.quantity) for row in rows] == [
        ("Moss linen", "S-3", 3),
        ("Night card", "S-1", 10),
        ("Night card", "S-2", 4),
        ("Night card", "K-2", 1),
        ("Night card", "K-1", 1),
    ]
    first = rows[1]
    assert (first.kind, first.colour, first.finish, first.width, first.height) == (
        StockKind.SHEET, "black", "matt", *BIG,
    )  # fmt: skip
    assert (first.price, first.place) == (Decimal("1.40"), "Shelf")


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({"paper": "night card"}, ["S-1", "S-2", "K-2", "K-1"]),
        ({"colour": "GREEN"}, ["S-3"]),
        ({"colour": "grÜn", "include_empty": True}, ["S-4"]),
        ({"finish": "lin"}, ["S-3"]),
        ({"kind": "offcut"}, ["K-2", "K-1"]),
        ({"kind": StockKind.SHEET}, ["S-3", "S-1", "S-2"]),
        ({"place": "drawer"}, ["S-2", "K-1"]),
        ({"place": "Cabinet"}, ["S-3", "S-2", "K-1"]),
        ({"at_least": (cm(50), cm(20))}, ["S-3", "S-1", "K-1"]),
        ({"at_least": (cm(20), cm(50))}, ["S-3", "S-1", "K-1"]),
        ({"at_least": (cm(50) + 1, cm(20))}, ["S-3", "S-1"]),
        ({"at_least": (cm(50), cm(70))}, ["S-3", "S-1"]),
        ({"at_least": (cm(50) + 1, cm(50) + 1)}, []),
        ({"paper": "Night card", "kind": "offcut", "place": "Cabinet"}, ["K-1"]),
        ({"colour": ""}, ["S-3", "S-1", "S-2", "K-2", "K-1"]),
    ],
)
def test_the_stash_is_searched(filled: Session, wanted, found: list[str]) -> None:
    assert labels(filled, **wanted) == found


def test_a_search_for_what_is_not_known_is_refused(filled: Session) -> None:
    for wanted, said in [
        ({"paper": "Wavs"}, "did you mean 'Waves'"),
        ({"place": "Drawr"}, "did you mean 'Drawer'"),
        ({"kind": "roll"}, "it is one of sheet, offcut"),
    ]:
        with pytest.raises(Refusal, match=said):
            listing.list_stash(filled, **wanted)


def test_places_stand_in_places(filled: Session) -> None:
    places = PlaceTree(filled).sorted()
    assert [(each.name, each.parent and each.parent.name) for each in places] == [
        ("Cabinet", None), ("Drawer", "Cabinet"), ("Shelf", None),
    ]  # fmt: skip
    with pytest.raises(Refusal, match="there is a place 'Cabinet / Drawer' already"):
        add_place(filled, "DRAWER", inside="cabinet")
    with pytest.raises(Refusal, match="there is no place 'Attic'"):
        add_place(filled, "Box", inside="Attic")


def test_areas_and_numbers_are_exact_however_many_there_are(session: Session) -> None:
    """The area of these sheets has more digits than a whole number in a database."""
    for number, lot in enumerate(("A", "B", "C")):
        size = (MAX_LENGTH - number, MAX_LENGTH - 7)
        receiving.add_sheets(session, "Waves", size, 999_999 - number, place="Shelf 1", lot=lot)
    gone = receiving.add_sheets(session, "Night card", BIG, 5, place="Shelf 2")
    adjust.spoil_stock(session, gone.label, 5)
    receiving.add_offcut(session, "Night card", (mm(100), mm(80)), place="Shelf 2")
    waves, night = (papers.find_paper(session, name).id for name in ("Waves", "Night card"))
    area = sum((MAX_LENGTH - n) * (MAX_LENGTH - 7) * (999_999 - n) for n in range(3))
    assert area > 2**63
    assert listing.on_hand_areas(session) == {waves: area, night: mm(100) * mm(80)}
    one, two = (find_place(session, name).id for name in ("Shelf 1", "Shelf 2"))
    numbers = listing.on_hand_by_place(session)
    assert numbers[one, StockKind.SHEET] == 3 * 999_999 - 3
    assert (numbers[two, StockKind.SHEET], numbers[two, StockKind.OFFCUT]) == (0, 1)
    assert record_counts(session) == (3, 3 * 999_999 - 3 + 1, 0)


def test_sheets_that_are_used_up_can_be_listed_without_such_offcuts(session: Session) -> None:
    sheets = receiving.add_sheets(session, "Waves", BIG, 1)
    offcut = receiving.add_offcut(session, "Waves", (mm(100), mm(80)))
    for one in (sheets, offcut):
        adjust.spoil_stock(session, one.label)
    assert labels(session) == []
    assert labels(session, empty_sheets=True) == [sheets.label]
    assert labels(session, include_empty=True) == [sheets.label, offcut.label]


def test_a_listing_takes_few_queries(filled: Session) -> None:
    asked: list[str] = []
    engine = filled.get_bind()
    event.listen(engine, "before_cursor_execute", lambda *args: asked.append(args[2]))
    for number in range(30):
        receiving.add_offcut(filled, "Waves", (mm(100 + number), mm(100)))
    asked.clear()
    assert len(listing.list_stash(filled)) == 35
    assert len(asked) == 6


# --- what an offcut is worth


def worth(session: Session, label: str) -> Decimal:
    row = next(r for r in listing.list_stash(session, include_empty=True) if r.label == label)
    return listing.planning_cost(get_shop(session), row)


def test_an_offcut_counts_at_its_share_of_the_cheapest_sheet(filled: Session) -> None:
    # 50 x 70 cm at 1.40 is 0.0004 a cm²; half of that for 20 x 50 cm is 0.20.
    assert worth(filled, "K-1") == Decimal("0.20")
    assert worth(filled, "K-2") == Decimal("0.24")
    receiving.add_sheets(filled, "Night card", (cm(70), cm(100)), 1, price=Decimal("1.40"))
    adjust.spoil_stock(filled, "S-5", 1, "all gone, and yet it says what the paper costs")
    assert worth(filled, "K-1") == Decimal("0.10")
    change_shop(filled, offcut_worth=100)
    assert worth(filled, "K-1") == Decimal("0.20")
    change_shop(filled, offcut_worth=0)
    assert worth(filled, "K-1") == 0


def test_half_a_coin_is_rounded_up(session: Session) -> None:
    receiving.add_sheets(session, "Waves", (cm(10), cm(10)), 1, price=Decimal("0.10"))
    receiving.add_offcut(session, "Waves", (cm(10), cm(1)))
    assert worth(session, "K-1") == Decimal("0.01")  # half of a tenth of 0.10


def test_a_price_of_its_own_comes_first(session: Session) -> None:
    receiving.add_sheets(session, "Waves", BIG, 1, price=Decimal("0.125"))
    receiving.add_offcut(session, "Waves", SMALL, price=Decimal("3.3333"))
    receiving.add_offcut(session, "Waves", SMALL, price=Decimal(0))
    assert worth(session, "K-1") == Decimal("3.3333")
    assert worth(session, "K-2") == 0
    assert worth(session, "S-1") == Decimal("0.125")


def test_what_can_not_be_known_counts_nothing(session: Session) -> None:
    receiving.add_sheets(session, "Waves", BIG, 1)
    receiving.add_offcut(session, "Waves", SMALL)
    receiving.add_sheets(session, "Night card", BIG, 1, price=Decimal(5))
    assert worth(session, "K-1") == 0
    assert worth(session, "S-1") == 0


def test_history_names_an_unknown_label(session: Session) -> None:
    with pytest.raises(Refusal, match="nothing in the stash has the label 'K-1'"):
        listing.stock_history(session, "K-1")


def test_a_long_list_comes_page_by_page(hand: Hand) -> None:
    hand.does("paper", "add", "Coal card", "--colour", "black", "--grammage", "300")
    for size in range(10, 15):
        hand.does("offcut", "add", "Coal card", f"{size}x20cm")
    assert "more" not in hand.does("stash", "list")
    first = hand.does("stash", "list", "--most", "2", "--colour", "bla")
    assert [f"K-{n}" in first for n in (5, 4, 3)] == [True, True, False]
    assert "… and 3 more; see all with --most 5" in first
    assert len(hand.data("stash", "stash", "list", "--most", "2")) == 2
    assert len(hand.data("stash", "stash", "list")) == 5


def test_what_a_batch_has_reserved_is_not_moved_under_another_label(table: Table) -> None:
    label = table.sheets((cm(50), cm(70)), 3, place="Shelf")
    table.card(14)
    table.plan()
    taken = table.reserved()[label]
    with pytest.raises(Refusal, match=f"reserved {taken} of the 3"), table.shop.begin() as session:
        adjust.set_stock_place(session, label, "Box", 4 - taken)
    with table.shop.begin() as session:
        assert adjust.set_stock_place(session, label, "Box").label == label
