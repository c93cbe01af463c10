from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from nester.core.lengths import cm, mm
from nester.core.piece import Hole, Piece, Point
from nester.designs import Design
from nester.designs.base.design import Consumable, Measure
from nester.designs.base.totals import (
    ConsumableTotal,
    PaperArea,
    consumables_of,
    finished_weight,
    paper_areas,
    total_consumables,
)
from nester.designs.parts.walled import WalledBase

PLUS = Piece("tier 1", "tier.1", WalledBase(cm(10), cm(10), cm(10)).cross_outline())
CARD = Piece.rectangle("card", "card", cm(10), cm(20), quantity=3)
RIBBON = Consumable("ribbon", "loop of a card", Measure.LENGTH, cm(25), 3)
NOTHING = Design("a", "a", (), (), (), lambda _, __: None, lambda _: ())
WITH_RIBBON = replace(NOTHING, consumables=lambda _: (RIBBON,))


def test_areas_by_role_and_by_paper() -> None:
    panel = cm(10) * cm(10)
    assert paper_areas([PLUS, CARD]) == (
        PaperArea("tier.1", 1, 9 * panel, 5 * panel),
        PaperArea("card", 3, 6 * panel, 6 * panel),
    )
    assert paper_areas([PLUS, CARD], lambda _: "red") == (
        PaperArea("red", 4, 15 * panel, 11 * panel),
    )
    assert paper_areas([]) == ()


def test_adhesive_is_the_area_of_the_glue_marks() -> None:
    triangle = (Point(0, 0), Point(3, 0), Point(0, 1))
    square = (Point(0, 0), Point(0, 10), Point(10, 10), Point(10, 0))
    piece = replace(CARD, glue=(triangle, square))
    # Half a square fine unit is rounded up.
    assert consumables_of(NOTHING, {}, [PLUS, piece]) == (
        Consumable("adhesive", "card", Measure.AREA, 102, 3),
    )


def test_only_holes_with_eyelets_take_eyelets() -> None:
    hole, eyelet = Hole(Point(9, 9), 4), Hole(Point(9, 9), 4, eyelet=True)
    piece = replace(CARD, holes=(hole, eyelet, eyelet))
    assert consumables_of(WITH_RIBBON, {}, [piece]) == (
        RIBBON,
        Consumable("eyelet", "card", Measure.COUNT, 2, 3),
    )
    assert consumables_of(NOTHING, {}, [replace(CARD, holes=(hole,))]) == ()


def test_consumables_add_up_by_name() -> None:
    more = Consumable("ribbon", "bow", Measure.LENGTH, cm(50))
    eyelets = Consumable("eyelet", "card", Measure.COUNT, 2, 3)
    assert total_consumables([RIBBON, eyelets, more]) == (
        ConsumableTotal("ribbon", Measure.LENGTH, cm(125)),
        ConsumableTotal("eyelet", Measure.COUNT, 6),
    )


def test_the_weight_is_paper_and_what_is_known_of_the_rest() -> None:
    # ISO 536: 0.05 m² at 220 and 0.06 m² at 300 g/m².
    grammages = {"tier.1": 220, "card": 300}
    plain = finished_weight([PLUS, CARD], grammages.__getitem__)
    assert (plain.paper, plain.total, plain.unweighed) == (Fraction(29), Fraction(29), ())
    adhesive = Consumable("adhesive", "card", Measure.AREA, mm(100) * mm(100), 2)
    eyelets = Consumable("eyelet", "card", Measure.COUNT, 2, 3)
    full = finished_weight(
        [PLUS, CARD],
        grammages.__getitem__,
        [RIBBON, adhesive, eyelets, eyelets],
        {"ribbon": 4, "adhesive": 50},
    )
    # 0.75 m of 4 g/m and 0.02 m² of 50 g/m².
    assert full.other_materials == 3 + 1
    assert full.total == 33
    assert full.unweighed == ("eyelet",)
