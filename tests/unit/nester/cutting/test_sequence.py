from __future__ import annotations

import random

import pytest

from nester.core.lengths import cm
from nester.core.problem import Cut, Cuts, PlacedPiece, Rect
from nester.cutting import NotGuillotineError, is_guillotine, plan_cuts

U = cm(1)


def placed(name: str, x: int, y: int, width: int, height: int) -> PlacedPiece:
    return PlacedPiece(name, x * U, y * U, width * U, height * U)


def rect(x: int, y: int, width: int, height: int) -> Rect:
    return Rect(x * U, y * U, width * U, height * U)


def order(
    width: int,
    height: int,
    pieces: list[PlacedPiece],
    cuts: Cuts = Cuts.STRAIGHT,
    smallest: int = 8,
) -> tuple[list[tuple[bool, int]], list[Rect]]:
    """Return the cuts as (vertical, centimetres) and the offcuts."""
    made, offcuts = plan_cuts(width * U, height * U, pieces, cuts, smallest * U)
    return [(cut.vertical, cut.at // U) for cut in made], list(offcuts)


WHEEL = [
    placed("a", 0, 0, 20, 12),
    placed("b", 20, 0, 12, 20),
    placed("c", 12, 20, 20, 12),
    placed("d", 0, 12, 12, 20),
]


def test_a_piece_as_large_as_its_sheet_needs_no_cut() -> None:
    assert order(20, 30, [placed("a", 0, 0, 20, 30)]) == ([], [])


def test_a_piece_in_the_middle_is_trimmed_on_four_sides() -> None:
    cuts, offcuts = order(20, 30, [placed("a", 1, 2, 17, 25)])
    assert sorted(cuts) == [(False, 2), (False, 27), (True, 1), (True, 18)]
    assert offcuts == []


def test_the_largest_offcut_comes_free_first() -> None:
    # The offcut below may be 50 × 38 or 40 × 38; that beside it 10 × 32 or 10 × 70.
    cuts, offcuts = order(50, 70, [placed("a", 0, 0, 40, 32)])
    assert cuts == [(False, 32), (True, 40)]
    assert offcuts == [rect(0, 32, 50, 38), rect(40, 0, 10, 32)]


def test_one_large_offcut_is_kept_rather_than_one_in_each_row() -> None:
    rows = [placed(str(i), 0, 10 * i, 30, 10) for i in range(10)]
    cuts, offcuts = order(50, 100, rows)
    assert cuts[0] == (True, 30)
    assert offcuts == [rect(30, 0, 20, 100)]
    assert len(cuts) == 10


def test_scrap_on_a_common_edge_is_trimmed_once() -> None:
    cards = [placed(f"{i} {j}", 10 * i, 10 * j, 10, 10) for i in range(5) for j in range(4)]
    cuts, offcuts = order(53, 43, cards)
    assert len(cuts) == 2 + 19
    assert offcuts == []


def test_a_short_row_leaves_its_whole_rest() -> None:
    pieces = [placed("long", 0, 0, 95, 50), placed("short", 0, 50, 30, 50)]
    cuts, offcuts = order(100, 100, pieces)
    assert offcuts == [rect(30, 50, 70, 50)]
    assert len(cuts) == 3


def test_a_few_strips_come_before_many_cards_and_each_is_worked_to_its_end() -> None:
    cards = [placed(f"{i} {j}", 5 * i, 9 * j, 5, 9) for i in range(6) for j in range(3)]
    cuts, _ = order(30, 27, cards)
    across = [5, 10, 15, 20, 25]
    row = [(True, at) for at in across]
    assert cuts == [(False, 9), *row, (False, 18), *row, *row]


def test_a_wide_gap_between_pieces_is_kept() -> None:
    cuts, offcuts = order(60, 20, [placed("a", 0, 0, 20, 20), placed("b", 40, 0, 20, 20)])
    assert sorted(cuts) == [(True, 20), (True, 40)]
    assert offcuts == [rect(20, 0, 20, 20)]


def test_what_is_just_too_small_is_scrap() -> None:
    pieces = [placed("a", 0, 0, 20, 20)]
    assert order(28, 20, pieces, smallest=8)[1] == [rect(20, 0, 8, 20)]
    assert order(28, 20, pieces, smallest=9)[1] == []


def test_a_wheel_can_not_be_cut_straight() -> None:
    assert not is_guillotine(WHEEL)
    with pytest.raises(NotGuillotineError):
        order(50, 70, WHEEL)
    for left_out in range(4):
        rest = WHEEL[:left_out] + WHEEL[left_out + 1 :]
        assert is_guillotine(rest)
        order(50, 70, rest)


def test_a_wheel_deep_within_a_straight_layout_is_found() -> None:
    rows = [placed(str(i), 0, 32 + i, 32, 1) for i in range(30)]
    assert not is_guillotine([*rows, *WHEEL])
    with pytest.raises(NotGuillotineError):
        order(32, 62, [*rows, *WHEEL])


def test_a_wheel_is_cut_free_with_a_knife_after_the_straight_cuts() -> None:
    made, offcuts = plan_cuts(50 * U, 70 * U, WHEEL, Cuts.FREE, 8 * U)
    part = rect(0, 0, 32, 32)
    assert made == (
        Cut(rect(0, 0, 50, 70), False, 32 * U, 0, 50 * U),
        Cut(rect(0, 0, 50, 32), True, 32 * U, 0, 32 * U),
        Cut(part, True, 12 * U, 12 * U, 32 * U, knife=True),
        Cut(part, True, 20 * U, 0, 20 * U, knife=True),
        Cut(part, False, 12 * U, 0, 20 * U, knife=True),
        Cut(part, False, 20 * U, 12 * U, 32 * U, knife=True),
    )
    assert offcuts == (rect(0, 32, 50, 38), rect(32, 0, 18, 32), rect(12, 12, 8, 8))


def test_edges_in_one_line_are_one_knife_cut() -> None:
    # Each long board is cut into two that share the outer edge's line.
    boards = [
        placed("a1", 0, 0, 10, 12), placed("a2", 10, 0, 10, 12), placed("b", 20, 0, 12, 20),
        placed("c", 12, 20, 20, 12), placed("d", 0, 12, 12, 20),
    ]  # fmt: skip
    made, _ = plan_cuts(32 * U, 32 * U, boards, Cuts.FREE, 9 * U)
    assert [(cut.vertical, cut.at // U, cut.start // U, cut.end // U) for cut in made] == [
        (True, 10, 0, 12), (True, 12, 12, 32), (True, 20, 0, 20),
        (False, 12, 0, 20), (False, 20, 12, 32),
    ]  # fmt: skip


def test_a_piece_beyond_the_sheet_is_refused() -> None:
    with pytest.raises(ValueError, match="'a' does not lie on the sheet"):
        order(20, 20, [placed("a", 1, 0, 20, 20)])


def test_five_hundred_pieces_in_a_row_and_the_same_again() -> None:
    chance = random.Random(1)
    strips, x = [], 0
    for number in range(500):
        width = chance.randrange(2, 9)
        strips.append(PlacedPiece(str(number), x, 0, width, chance.randrange(50, 100)))
        x += width + chance.randrange(2)
    made, offcuts = plan_cuts(x, 100, strips, Cuts.STRAIGHT, 1000)
    again = plan_cuts(x, 100, strips, Cuts.STRAIGHT, 1000)
    assert again == (made, offcuts)
    assert offcuts == ()
    assert len(made) >= 499


CORNERS = tuple(rect(x, y, 10, 10) for x in (0, 20) for y in (0, 20))


def test_a_corner_is_cut_out_of_its_free_blank_and_then_taken_apart() -> None:
    pieces = [placed("cross", 0, 0, 30, 30), placed("a", 20, 20, 6, 10)]
    made, offcuts = plan_cuts(30 * U, 40 * U, pieces, Cuts.STRAIGHT, 11 * U, [CORNERS, ()])
    blank, corner = rect(0, 0, 30, 30), rect(20, 20, 10, 10)
    assert made == (
        Cut(rect(0, 0, 30, 40), False, 30 * U, 0, 30 * U),
        Cut(blank, True, 20 * U, 20 * U, 30 * U, knife=True),
        Cut(blank, False, 20 * U, 20 * U, 30 * U, knife=True),
        Cut(corner, True, 26 * U, 20 * U, 30 * U),
    )
    assert offcuts == ()


def test_corners_worth_keeping_are_cut_out() -> None:
    pieces = [placed("cross", 0, 0, 30, 30)]
    made, offcuts = plan_cuts(30 * U, 30 * U, pieces, Cuts.STRAIGHT, 10 * U, [CORNERS])
    assert offcuts == CORNERS
    assert len(made) == 8
    assert all(cut.knife and cut.part == rect(0, 0, 30, 30) for cut in made)


def test_crosses_that_reach_into_each_other_are_cut_by_their_outlines() -> None:
    pieces = [placed("a", 0, 0, 30, 30), placed("b", 20, 10, 30, 30)]
    voids = [CORNERS, tuple(v._replace(x=v.x + 20 * U, y=v.y + 10 * U) for v in CORNERS)]
    with pytest.raises(NotGuillotineError):
        plan_cuts(60 * U, 40 * U, pieces, Cuts.STRAIGHT, 11 * U, voids)
    made, offcuts = plan_cuts(60 * U, 40 * U, pieces, Cuts.FREE, 11 * U, voids)
    assert offcuts == ()
    assert made[0] == Cut(rect(0, 0, 60, 40), True, 50 * U, 0, 40 * U)
    # Only the corners that the other reaches into are cut out, one of each.
    assert [(cut.vertical, cut.at // U, cut.start // U, cut.end // U) for cut in made[1:]] == [
        (True, 20, 20, 40), (True, 30, 0, 20), (False, 10, 30, 50), (False, 20, 20, 30),
        (False, 30, 0, 20),
    ]  # fmt: skip
