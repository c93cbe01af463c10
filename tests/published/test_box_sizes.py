"""Sizes of boxes that makers know by heart.

All of them: common practice, no source.
"""

from __future__ import annotations

from nester.core.lengths import Length, Unit, cm, inch
from nester.core.piece import Piece
from nester.designs import DESIGNS, read_settings


def pieces(design: str, unit: Unit, **texts: str) -> dict[str, Piece]:
    chosen = DESIGNS[design]
    named = {name.replace("_", "-"): text for name, text in texts.items()}
    return {piece.name: piece for piece in chosen.pieces(read_settings(chosen, named, unit))}


def square(piece: Piece) -> Length:
    assert piece.width == piece.height
    return piece.width


def test_the_four_tier_box_of_18_cm() -> None:
    # Common practice, no source: panels of 18 cm, step 2 cm: blanks of 54, 48, 42 and 36 cm.
    for centre, inmost in (("tray", "tray"), ("cross", "tier 4")):
        made = pieces("layered-box", Unit.CM, panel="18", step="2", tiers="4", centre=centre)
        blanks = [square(made[name]) for name in ("tier 1", "tier 2", "tier 3", inmost)]
        assert blanks == [cm(54), cm(48), cm(42), cm(36)]


def test_the_inner_lid_of_the_18_cm_box() -> None:
    # Common practice, no source: tray of 12 cm, clearance 0.5 cm, walls 3 cm: blank 18.5 cm.
    made = pieces(
        "layered-box", Unit.CM, panel="18", step="2", tiers="4", lid_clearance="0.5", lid_wall="3"
    )
    assert square(made["inner lid"]) == cm("18.5")
    assert square(made["outer lid"]) == cm("24.5")


def test_the_18_cm_box_by_default() -> None:
    made = pieces("layered-box", Unit.CM, cards="4", photos="4")
    assert square(made["tier 1"]) == cm(54)
    assert square(made["tray"]) == cm(36)
    assert square(made["inner lid"]) == cm("18.5")
    # Common practice, no source: photos of 14 cm in the 16 cm tier; cards under 14 cm in the
    # pockets of the 14 cm tier (13.5 cm, four of them); the tray's tabs are 1 cm.
    assert square(made["photo"]) == cm(14)
    assert (square(made["pull-out card"]), made["pull-out card"].quantity) == (cm("13.5"), 4)
    assert made["tray"].scores[0].line == ((cm(12), cm(12)), (cm(24), cm(12)))
    tab = made["tray"].glue[0]
    assert max(p.x for p in tab) - min(p.x for p in tab) == cm(1)


def test_pull_out_cards_go_into_the_pockets_of_the_14_cm_tier() -> None:
    # Common practice, no source: cards smaller than 14 cm in pockets as wide as the wall.
    made = pieces("layered-box", Unit.CM, cards="4")
    tier = made["tier 3"]
    assert tier.scores[0].line == ((cm(14), cm(14)), (cm(28), cm(14)))
    pockets = [score.line for score in tier.scores[4:]]
    # Each hangs on its wall from beside the base up to the rim, where it is open.
    assert [abs(a.x - b.x) + abs(a.y - b.y) for a, b in pockets] == [cm("13.9")] * 4
    assert square(made["pull-out card"]) == cm("13.5") < cm("13.9")


def test_oblong_tiers_and_any_wall() -> None:
    # Common practice, no source: a base w × l with walls h has the blank (w + 2h) × (l + 2h).
    made = pieces("layered-box", Unit.CM, panel="20", length="14", wall="6", tiers="2")
    assert (made["tier 1"].width, made["tier 1"].height) == (cm(32), cm(26))


def test_the_inch_box() -> None:
    # Common practice, no source: blanks of 12, 11½ and 11 in; lid over the 4 in box, clearance
    # 1/16 in, walls 1½ in: blank 7 1/16 in.
    for texts in (
        {"blank": "12", "blank_step": "1/2", "tiers": "3", "lid_clearance": "1/16"},
        {"panel": "4in", "step": "1/6 in", "lid_clearance": "1/16", "lid_wall": "1½"},
    ):
        made = pieces("layered-box", Unit.IN, **texts)
        blanks = [square(made[name]) for name in ("tier 1", "tier 2", "tray")]
        assert blanks == [inch(12), inch("11.5"), inch(11)]
        assert square(made["outer lid"]) == inch(7) + inch("1/16")


def test_an_outer_blank_of_eleven_and_a_half_inches_is_exact() -> None:
    # Common practice, no source: 11½ in is three panels of 3 5/6 in.
    made = pieces("layered-box", Unit.IN, blank="11 1/2", blank_step="1/2", tiers="2")
    assert square(made["tier 1"]) == inch("11.5")
    assert made["tier 1"].scores[0].line.start.x * 3 == inch("11.5")


def test_the_metric_box_of_30_cm_blanks() -> None:
    # Common practice, no source: blanks of 30, 28.5 and 27 cm, panels of 10, 9.5 and 9 cm.
    made = pieces("layered-box", Unit.CM, panel="10", step="0.5", tiers="3")
    assert [square(made[n]) for n in ("tier 1", "tier 2", "tray")] == [cm(30), cm("28.5"), cm(27)]


def test_a_tray_of_width_length_and_depth() -> None:
    # Common practice, no source: the blank is (w + 2d) × (l + 2d).
    tray = pieces("tray-box", Unit.CM, width="9", length="14", depth="3.5")["tray"]
    assert (tray.width, tray.height) == (cm(16), cm(21))
