from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inventory.database.shop_file import ShopFile
from inventory.database.tables.orders import CustomDesign, Order
from inventory.orders import custom_designs, orders
from inventory.orders.import_orders import import_orders
from inventory.stock import papers
from inventory.stock.import_lists import import_papers
from nester.core.errors import Refusal
from nester.core.lengths import inch, mm
from nester.designs import DESIGNS
from nester.designs.custom.reader import starter_text

TODAY = date(2026, 3, 2)


@pytest.fixture
def session(shop: ShopFile):
    with shop.begin() as session:
        papers.add_paper(session, "Night card", colour="black", grammage=250, caliper=mm("0.3"))
        papers.add_paper(session, "Board", colour="grey", grammage=900, caliper=mm("2.5"))
        yield session


@pytest.fixture
def sachet(session: Session) -> CustomDesign:
    return custom_designs.add_custom_design(session, starter_text(), "sachet.toml")


def take(session: Session, **other) -> tuple[Order, list[str]]:
    return orders.add_order(session, **{
        "customer": "Ada", "design": "sachet", "sizes": {}, "papers": {"all": "Night card"},
        "copies": 1, "due": TODAY, "today": TODAY, **other,
    })  # fmt: skip


def test_a_kept_design_is_found_and_ordered_like_any_other(
    session: Session, sachet: CustomDesign
) -> None:
    assert custom_designs.list_custom_designs(session) == [sachet]
    assert custom_designs.find_design(session, " SACHET ").name == "sachet"
    assert custom_designs.find_design(session, "tray-box") is DESIGNS["tray-box"]
    order, warnings = take(session, sizes={"width": "10cm", "cards": "3"})
    assert warnings == []
    assert [(piece.name, piece.quantity, paper) for piece, paper in orders.order_pieces(
        session, order
    )] == [("sachet", 1, "Night card"), ("card", 3, "Night card")]  # fmt: skip


def test_what_binds_in_its_papers_is_not_taken(session: Session, sachet: CustomDesign) -> None:
    with pytest.raises(Refusal, match="sachet: card in sachet: binds by 1 mm"):
        take(session, papers={"all": "Board"})
    assert session.scalar(select(func.count()).select_from(Order)) == 0


def test_what_is_tight_comes_back_as_a_warning(session: Session, sachet: CustomDesign) -> None:
    papers.add_paper(session, "Felt", colour="red", grammage=300, caliper=mm(1))
    order, warnings = take(session, papers={"all": "Felt"})
    assert len(warnings) == 1
    assert warnings[0].startswith(f"order {order.id}: card in sachet: 2 mm of play")


def test_a_length_to_fit_needs_papers_and_gets_them(session: Session) -> None:
    fitted = [(design, setting.name) for design in DESIGNS.values() for setting in design.settings
              if setting.fitted_length is not None]  # fmt: skip
    for design, setting in fitted:
        order, _ = take(session, design=design.name, sizes={setting: "fit"})
        assert orders.order_pieces(session, order)


@pytest.mark.parametrize("name", ["sachet", "tray-box"])
def test_a_name_that_is_taken_is_refused(session: Session, sachet: CustomDesign, name: str) -> None:
    text = starter_text().replace('name = "sachet"', f'name = "{name}"', 1)
    with pytest.raises(Refusal, match=rf"again\.toml.*, name: .*'{name}'"):
        custom_designs.add_custom_design(session, text, "again.toml")
    assert custom_designs.list_custom_designs(session) == [sachet]


def test_a_wrong_design_is_not_kept(session: Session) -> None:
    with pytest.raises(Refusal, match=r"^x\.toml, line 12, sizes, width: 'cm' stands alone"):
        custom_designs.add_custom_design(
            session, starter_text().replace('"12cm"', '"cm"'), "x.toml"
        )
    assert custom_designs.list_custom_designs(session) == []


def test_a_design_that_is_wanted_stays(session: Session, sachet: CustomDesign) -> None:
    first, _ = take(session)
    second, _ = take(session)
    with pytest.raises(Refusal, match=f"used by orders {first.id}, {second.id}; deliver or"):
        custom_designs.remove_custom_design(session, "Sachet")
    orders.set_status(session, first, "cancelled")
    with pytest.raises(Refusal, match=f"used by order {second.id};"):
        custom_designs.remove_custom_design(session, "sachet")
    for step in ("planned", "cut", "assembled", "delivered"):
        orders.set_status(session, second, step)
    custom_designs.remove_custom_design(session, "sachet")
    assert custom_designs.list_custom_designs(session) == []
    with pytest.raises(Refusal, match="there is no design 'sachet'"):
        take(session)


def test_an_order_keeps_its_design_as_it_was(session: Session, sachet: CustomDesign) -> None:
    order, _ = take(session)
    pieces = orders.order_pieces(session, order)
    assert order.design_text == sachet.text
    orders.set_status(session, order, "cancelled")
    custom_designs.remove_custom_design(session, "sachet")
    assert orders.order_pieces(session, order) == pieces
    wider = starter_text().replace('"12cm"', '"13cm"', 1)
    custom_designs.add_custom_design(session, wider, "wider.toml")
    assert orders.order_pieces(session, order) == pieces
    again, _ = take(session)
    assert orders.order_pieces(session, again) != pieces
    built_in, _ = take(session, design="tray-box")
    assert built_in.design_text is None


def test_unknown_designs_are_refused(session: Session) -> None:
    with pytest.raises(Refusal, match="no design of its own 'x'; none was added yet"):
        custom_designs.remove_custom_design(session, "x")
    custom_designs.add_custom_design(session, starter_text(), "f")
    with pytest.raises(Refusal, match="no design of its own 'sachte'; did you mean 'sachet'"):
        custom_designs.get_custom_design(session, "sachte")
    with pytest.raises(Refusal, match="no design 'sachte'; did you mean 'sachet'"):
        custom_designs.find_design(session, "sachte")
    with pytest.raises(Refusal, match=r"no design 'zzz'; there are layered-box, .*, sachet"):
        custom_designs.find_design(session, "zzz")
    with pytest.raises(Refusal, match="there is no design 'sachet'"):
        custom_designs.built_in_design("sachet")
    assert custom_designs.built_in_design("Tray-Box") is DESIGNS["tray-box"]


def test_a_design_file_is_read_or_refused(tmp_path: Path) -> None:
    path = tmp_path / "my.toml"
    with pytest.raises(Refusal, match="there is no such file"):
        custom_designs.read_design_file(path)
    with pytest.raises(Refusal, match="this is a folder"):
        custom_designs.read_design_file(tmp_path)
    path.write_bytes(b"a = 1\n\xff")
    with pytest.raises(Refusal, match=r"my\.toml, line 2: this is not UTF-8"):
        custom_designs.read_design_file(path)
    path.write_text(starter_text(), encoding="utf-8")
    assert custom_designs.read_design_file(path) == starter_text()


def test_orders_of_an_own_design_can_be_imported(
    session: Session, sachet: CustomDesign, tmp_path: Path
) -> None:
    path = tmp_path / "orders.csv"
    path.write_text(
        "customer,design,copies,due,sizes,papers\n"
        "Ada,sachet,2,in 3 days,width=10cm; cards=2,all=Night card\n"
    )
    assert import_orders(session, path, TODAY) == (1, [])


# --- caliper


@pytest.mark.parametrize(
    ("text", "caliper"),
    [
        ("0.3mm", mm("0.3")), ("0,3 mm", mm("0.3")), ("300um", mm("0.3")), ("300 µm", mm("0.3")),
        ("300 μm", mm("0.3")), ("0.012in", 7_316), ("12pt", 7_316),
        ("12.5 MIL", 7_620), ("10pt", inch("0.01")), ("", None),
        (" ", None), (None, None),
    ],
)  # fmt: skip
def test_a_caliper_is_read_exactly(text: str | None, caliper: int | None) -> None:
    assert papers.read_caliper(text) == caliper


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0.3", "the thickness '0.3' has no unit; write it like 0.3mm, 300um, 12pt or 0.012in"),
        ("300mm", "the paper's thickness must be 0.01 mm to 5 mm, not 300 mm"),
        ("1um", "must be 0.01 mm to 5 mm"),
        ("thin", "the thickness 'thin' is no thickness; write it"),
        ("-0.3mm", "is no thickness"),
        ("1/64in", "is no thickness"),
        ("3 ells", "'3 ells' is no thickness"),
    ],
)
def test_a_wrong_caliper_is_refused(text: str, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        papers.read_caliper(text)


def test_papers_keep_their_caliper(session: Session, tmp_path: Path) -> None:
    assert papers.find_paper(session, "Night card").caliper == mm("0.3")
    with pytest.raises(Refusal, match="the paper's thickness must be"):
        papers.add_paper(session, "Air", colour="none", grammage=1, caliper=0)
    path = tmp_path / "papers.csv"
    path.write_text(
        "name,colour,finish,grammage,caliper\nOat card,cream,,270,350um\nChalk,white,,90,\n"
    )
    assert import_papers(session, path) == 2
    assert papers.find_paper(session, "oat card").caliper == mm("0.35")
    assert papers.find_paper(session, "chalk").caliper is None
    path.write_text("name,colour,finish,grammage,caliper\nMilk,white,,90,3\n")
    with pytest.raises(Refusal, match=r"line 2, caliper: the thickness '3' has no unit"):
        import_papers(session, path)
