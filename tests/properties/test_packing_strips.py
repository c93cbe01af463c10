"""Sheets filled by strips: whatever lies on them fits, and can be cut; strips are worth most."""

from itertools import product
from random import Random
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.problem import Cuts, PlacedPiece, Rect
from nester.cutting import is_guillotine
from nester.packing.patterns import strip_knapsack
from nester.packing.patterns.strip_knapsack import StripKnapsack
from nester.packing.task.task import BinType, ItemType, Task, item_counts

from .test_packing_fill import check_sheet, shapes, sheet_sides

worths = st.lists(st.integers(0, 9), min_size=6, max_size=6)


def filled(some, width, height, values, down):
    task = Task("", tuple(some), (BinType(width, height, None, 1),), (), (), 1, 1)
    method = StripKnapsack(task, Random(1))
    spots = method.fill(0, task.demand, [float(value) for value in values], down=down)
    return spots, method.steps


@settings(max_examples=150, deadline=None)
@given(shapes, sheet_sides, sheet_sides, worths, st.booleans(), st.sampled_from((4, 11, 1500)))
def test_a_sheet_filled_by_strips(some, width, height, values, down, raster):
    with patch.object(strip_knapsack, "_RASTER", raster):
        spots, steps = filled(some, width, height, values, down)
    check_sheet(some, spots, width, height, Cuts.STRAIGHT)
    for index, number in item_counts(spots).items():
        assert number <= some[index].demand
        assert values[index] > 0
    fitting = [i for i, one in enumerate(some) if values[i] and one.fits(width, height)]
    assert bool(spots) == bool(fitting) or raster < 30
    assert steps > 0 or not fitting


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(1, 3)), min_size=1, max_size=4),
    st.integers(1, 25),
    worths,
    st.booleans(),
)
def test_one_strip_is_worth_as_much_as_can_be(pieces, long, values, down):
    """On a sheet as high as all its pieces the best strip is found, as by trying every choice."""
    some = [ItemType(*((5, n) if down else (n, 5)), most, False) for n, most in pieces]
    sheet = (5, long) if down else (long, 5)
    spots, _ = filled(some, *sheet, values, down)
    best = max(
        sum(map(int.__mul__, chosen, values))
        for chosen in product(*(range(most + 1) for _, most in pieces))
        if sum(number * side for number, (side, _) in zip(chosen, pieces, strict=True)) <= long
    )
    assert sum(values[spot.item_type] for spot in spots) == best


def test_what_lies_in_voids_and_rests_can_be_cut():
    """A cross leaves its corners to other pieces, and what is left above a strip is filled too."""
    corners = tuple(Rect(x, y, 10, 10) for x in (0, 20) for y in (0, 20))
    some = (
        ItemType(30, 30, 1, False, corners),
        ItemType(8, 8, 6, False),
        ItemType(10, 20, 1, False),
    )
    spots, _ = filled(some, 40, 30, (90, 5, 9, 0, 0, 0), False)
    assert item_counts(spots) == {0: 1, 1: 5, 2: 1}
    outside = [spot for spot in spots if spot.x >= 30 or spot.item_type == 0]
    assert is_guillotine(
        PlacedPiece("", s.x, s.y, *some[s.item_type].oriented_size(s.turned)) for s in outside
    )
    inside = [Rect(s.x, s.y, 8, 8) for s in spots if s.item_type == 1 and s.x < 30]
    assert len(inside) == 4
    assert all(any(corner.contains(one) for corner in corners) for one in inside)


@pytest.mark.parametrize("down", [False, True])
def test_a_piece_as_long_as_the_sheet_makes_a_strip_whatever_the_raster(down):
    """Rounded up to a raster of four units its length would be five."""
    some = [ItemType(*((5, n) if down else (n, 5)), 1, False) for n in (25, 3)]
    with patch.object(strip_knapsack, "_RASTER", 4):
        spots, _ = filled(some, *((5, 25) if down else (25, 5)), (9, 2), down)
    assert item_counts(spots) == {0: 1}
