from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.core.problem import Cut, Cuts, Layout, PlacedPiece, Rect, Trimmer
from nester.cutting import cutting_instructions, cutting_minutes, plan_cuts, safety_notes
from nester.cutting.measures import MEASURE_TOLERANCE, MIN_SCRAP_WIDTH, PrintedMeasures


def layout(
    width: int, height: int, pieces: list[PlacedPiece], cuts: Cuts, copies: int = 1
) -> Layout:
    made, offcuts = plan_cuts(width, height, pieces, cuts, mm(75))
    return Layout("sheet", copies, tuple(pieces), made, offcuts)


CARD = cm("13.5")
BLACK = layout(
    cm(56),
    cm(71),
    [
        PlacedPiece("tier 1", 0, 0, cm(54), cm(54)),
        *(PlacedPiece(f"card {i}", i * CARD, cm(54), CARD, CARD) for i in range(4)),
    ],
    Cuts.STRAIGHT,
    copies=2,
)
WHEEL = layout(
    cm(32),
    cm(32),
    [
        PlacedPiece("a", 0, 0, cm(20), cm(12)),
        PlacedPiece("b", cm(20), 0, cm(12), cm(20)),
        PlacedPiece("c", cm(12), cm(20), cm(20), cm(12)),
        PlacedPiece("d", 0, cm(12), cm(12), cm(20)),
    ],
    Cuts.FREE,
)


def test_straight_cuts_in_words() -> None:
    assert cutting_instructions(BLACK, Unit.CM)[0] == (
        "1. Up and down, 54 cm from the left edge of the 56 × 71 cm sheet.\n"
        "   Left: go on with the 54 × 71 cm part, for cuts 2–6.\n"
        "   Right: scrap, 2 × 71 cm."
    )
    assert cutting_instructions(BLACK, Unit.CM)[1] == (
        "2. Across, 54 cm from the top edge of the 54 × 71 cm part.\n"
        "   Top: tier 1, 54 × 54 cm.\n"
        "   Bottom: go on with the 54 × 17 cm part, for cuts 3–6."
    )
    assert cutting_instructions(BLACK, Unit.MM)[5] == (
        "6. Up and down, 135 mm from the left edge of the 270 × 135 mm part.\n"
        "   Left: card 2, 135 × 135 mm.\n"
        "   Right: card 3, 135 × 135 mm."
    )


def test_a_part_that_waits_and_an_offcut_are_told() -> None:
    cards = [
        PlacedPiece(f"{i} {j}", i * inch(2), j * inch(3), inch(2), inch(3))
        for i in range(6)
        for j in range(2)
    ]
    told = cutting_instructions(layout(inch(12), inch(12), cards, Cuts.STRAIGHT), Unit.IN)
    assert told[0] == (
        "1. Across, 6 in from the top edge of the 12 × 12 in sheet.\n"
        "   Top: go on with the 12 × 6 in part, for cuts 2–12.\n"
        "   Bottom: offcut 1, 12 × 6 in."
    )
    assert told[1] == (
        "2. Across, 3 in from the top edge of the 12 × 6 in part.\n"
        "   Top: go on with the 12 × 3 in part, for cuts 3–7.\n"
        "   Bottom: set aside the 12 × 3 in part, for cuts 8–12."
    )


def test_knife_cuts_in_words() -> None:
    told = cutting_instructions(WHEEL, Unit.CM)
    assert told[0] == (
        "1. Knife, up and down, 12 cm from the left edge of the 32 × 32 cm sheet;\n"
        "   start 12 cm from its top edge and cut to its bottom edge."
    )
    assert told[3] == (
        "4. Knife, across, 20 cm from the top edge of the 32 × 32 cm sheet; start\n"
        "   12 cm from its left edge and cut to its right edge.\n"
        "   Now free: a, 20 × 12 cm; b, 12 × 20 cm; c, 20 × 12 cm; d, 12 × 20 cm;\n"
        "   offcut 1, 8 × 8 cm; the rest is scrap."
    )


def test_a_length_the_unit_can_not_show_is_marked() -> None:
    pieces = [PlacedPiece("third", 0, 0, inch(1) // 3, cm(10))]
    told = cutting_instructions(layout(cm(10), cm(10), pieces, Cuts.STRAIGHT), Unit.IN)
    assert told[0].startswith("1. Up and down, ≈21/64 in from the left edge of the ≈3 15/16 × ")


def test_lines_are_short_and_names_stay_on_them() -> None:
    long = "card " * 40 + "\x1b[31m\nred"
    pieces = [PlacedPiece(long, 0, 0, cm(10), cm(20))]
    told = cutting_instructions(layout(cm(20), cm(20), pieces, Cuts.STRAIGHT), Unit.MM)
    assert all(len(line) <= 76 for line in told[0].splitlines())
    assert "\x1b" not in told[0]
    assert "[31m red, 100 × 200 mm" in " ".join(told[0].split())


def test_cautions_speak_of_the_tools_in_use() -> None:
    assert safety_notes(Layout("s", 1, ())) == ()
    assert len(safety_notes(BLACK)) == 1
    assert "rules of your workplace" in safety_notes(BLACK)[0]
    assert safety_notes(WHEEL)[0] == safety_notes(BLACK)[0]
    assert "knife" in safety_notes(WHEEL)[1]


def test_minutes_count_cuts_and_metres_of_every_copy() -> None:
    part = Rect(0, 0, mm(500), mm(1000))
    cuts = (
        Cut(part, True, mm(100), 0, mm(1000)),
        Cut(part, False, mm(100), 0, mm(500)),
        Cut(part, False, mm(200), mm(100), mm(350), knife=True),
    )
    paces = {
        "per_cut": Fraction(1),
        "per_trimmer_metre": Fraction(2),
        "per_knife_metre": Fraction(12),
    }
    assert cutting_minutes(Layout("s", 2, (), cuts), **paces) == 2 * (3 + 3 + 3)
    assert cutting_minutes(Layout("s", 1, ())) == 0
    # The first cut is too long for the trimmer: it takes as long as with the knife it is made with.
    short = Trimmer(longest_cut=mm(500))
    assert cutting_minutes(Layout("s", 1, (), cuts), trimmer=short, **paces) == 13 + 2 + 4


def test_a_cut_that_the_trimmer_can_not_make_needs_the_caution_for_knives() -> None:
    longest = max(cut.end - cut.start for cut in BLACK.cuts)
    assert len(safety_notes(BLACK, trimmer=Trimmer(longest_cut=longest))) == 1
    assert "knife" in safety_notes(BLACK, trimmer=Trimmer(longest_cut=longest - 1))[1]


@pytest.mark.parametrize("given", [BLACK, WHEEL])
def test_minutes_are_exact_and_grow_with_the_copies(given: Layout) -> None:
    one = cutting_minutes(Layout("s", 1, (), given.cuts))
    assert isinstance(one, Fraction)
    assert cutting_minutes(Layout("s", 5, (), given.cuts)) == 5 * one > 0


def test_corners_that_are_cut_out_of_a_blank() -> None:
    unit = cm(1)
    corners = tuple(Rect(at * unit, at * unit, 10 * unit, 10 * unit) for at in (0, 20))
    placed = (
        PlacedPiece("tier 1", 0, 0, 30 * unit, 30 * unit),
        PlacedPiece("mat", 0, 0, 10 * unit, 10 * unit),
        PlacedPiece("strip", 20 * unit, 20 * unit, 6 * unit, 10 * unit),
        PlacedPiece("tall", 30 * unit, 0, 10 * unit, 40 * unit),
    )
    voids = (corners, (), (), ())
    cuts, offcuts = plan_cuts(40 * unit, 40 * unit, placed, Cuts.STRAIGHT, 9 * unit, voids)
    assert (
        "\n".join(cutting_instructions(Layout("sheet", 1, placed, cuts, offcuts), Unit.CM))
        == """\
1. Up and down, 30 cm from the left edge of the 40 × 40 cm sheet.
   Left: go on with the 30 × 40 cm part, for cuts 2–7.
   Right: tall, 10 × 40 cm.
2. Across, 30 cm from the top edge of the 30 × 40 cm part.
   Top: tier 1, 30 × 30 cm; go on with it, for cuts 3–7.
   Bottom: offcut 1, 30 × 10 cm.
3. Knife, up and down, 10 cm from the left edge of tier 1; start 0 cm and
   stop 10 cm from its top edge.
4. Knife, across, 10 cm from the top edge of tier 1; start 0 cm and stop
   10 cm from its left edge.
   Corner cut out: mat, 10 × 10 cm.
5. Knife, up and down, 20 cm from the left edge of tier 1; start 20 cm from
   its top edge and cut to its bottom edge.
6. Knife, across, 20 cm from the top edge of tier 1; start 20 cm from its
   left edge and cut to its right edge.
   Corner cut out: go on with the 10 × 10 cm part, for cut 7.
7. Up and down, 6 cm from the left edge of the 10 × 10 cm part.
   Left: strip, 6 × 10 cm.
   Right: scrap, 4 × 10 cm."""
    )


def test_two_blanks_with_corners_one_of_which_waits() -> None:
    placed = (PlacedPiece("a", 0, 0, 4, 4), PlacedPiece("b", 4, 0, 4, 4),
              PlacedPiece("c", 0, 0, 1, 1), PlacedPiece("d", 6, 1, 1, 1))  # fmt: skip
    voids = ((Rect(0, 0, 1, 1),), (Rect(6, 1, 1, 1),), (), ())
    cuts, offcuts = plan_cuts(8, 4, placed, Cuts.STRAIGHT, mm(9), voids)
    told = cutting_instructions(Layout("sheet", 1, placed, cuts, offcuts), Unit.MM)
    assert told[0].splitlines()[1:] == [
        "   Left: a, ≈0 × ≈0 mm; go on with it, for cuts 2–3.",
        "   Right: b, ≈0 × ≈0 mm; set it aside, for cuts 4–7.",
    ]
    assert told[2].splitlines()[-1] == "   Corner cut out: c, ≈0 × ≈0 mm."
    assert told[6].splitlines()[-1] == "   Piece cut out: d, ≈0 × ≈0 mm."


def test_a_sliver_is_left_on() -> None:
    sheet, piece = Rect(0, 0, inch(12), cm(20)), Rect(0, 0, cm("30.47"), cm(20))
    cut = Cut(sheet, True, piece.width, 0, cm(20))
    thin = Layout("S-1", 1, (PlacedPiece("mat", *piece, False),), (cut,))
    (told,) = cutting_instructions(thin, Unit.CM)
    assert " ".join(told.split()) == (
        "1. No cut of the 30.48 × 20 cm sheet: only a sliver would come off; leave it on."
        " Whole: mat, ≈30.48 × 20 cm."
    )
    thick = Cut(sheet, True, inch(12) - MIN_SCRAP_WIDTH, 0, cm(20))
    blank = Rect(0, 0, thick.at, cm(20))
    (told,) = cutting_instructions(
        Layout("S-1", 1, (PlacedPiece("mat", *blank, False),), (thick,)), Unit.CM
    )
    assert "sliver" not in told
    # What is kept is cut off, however thin: somebody wants it.
    kept = Layout(
        "S-1",
        1,
        (PlacedPiece("mat", *piece, False),),
        (cut,),
        (Rect(cm("30.47"), 0, mm("0.1"), cm(20)),),
    )
    (told,) = cutting_instructions(kept, Unit.CM)
    assert "sliver" not in told


def test_rounding_does_not_add_up_along_a_row() -> None:
    gate = mm("72.81")
    gates = [PlacedPiece(f"gate {i}", i * gate, 0, gate, cm(10)) for i in range(6)]
    full = PrintedMeasures(layout(6 * gate, cm(10), gates, Cuts.STRAIGHT), Unit.IN)
    for piece in gates:
        assert abs(full.rect(piece.rect).width - gate) <= MEASURE_TOLERANCE
    assert full.unit is Unit.IN
    # Of these no six 64ths fill the sheet within the tolerance.
    thin = mm("72.75")
    gates = [PlacedPiece(f"gate {i}", i * thin, 0, thin, cm(10)) for i in range(6)]
    cut = layout(6 * thin, cm(10), gates, Cuts.STRAIGHT)
    assert PrintedMeasures(cut, Unit.IN).unit is Unit.MM
    assert " mm from the left edge" in cutting_instructions(cut, Unit.IN)[0]


def test_knife_cuts_run_through_a_sliver_that_is_left_on() -> None:
    pieces = list(WHEEL.placed)
    cuts = layout(cm(32) + mm("0.1"), cm(32), pieces, Cuts.FREE)
    told = [" ".join(words.split()) for words in cutting_instructions(cuts, Unit.CM)]
    assert told[0].startswith("1. No cut of the 32.01 × 32 cm sheet: only a sliver")
    assert all("stop 32 cm" not in words for words in told)
    assert sum("cut to its right edge" in words for words in told) == 1
