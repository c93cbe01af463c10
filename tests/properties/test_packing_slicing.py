"""Sheets sliced along a table: what lies on them fits, can be cut, and is worth the most."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.problem import Cuts, Rect
from nester.packing import never
from nester.packing.bounds.guillotine_pricing import GuillotinePricing
from nester.packing.patterns.guillotine_dp import RASTER, GuillotineDP
from nester.packing.task.task import BinType, ItemType, Task, item_counts

from .test_packing_fill import check_sheet, shapes, sheet_sides

worths = st.lists(st.integers(0, 9), min_size=6, max_size=6)


def sliced(some, width, height, values, number=4, raster=RASTER):
    task = Task("", tuple(some), (BinType(width, height, None, 1),), (), (), 1, 1)
    method = GuillotineDP(task, Random(1), raster)
    method.build_table(task.demand, [float(value) for value in values[: len(some)]])
    return method.max_value(0), list(method.sample_layouts(0, number)), method.steps


@settings(max_examples=150, deadline=None)
@given(shapes, sheet_sides, sheet_sides, worths, st.sampled_from((4, 11, 1000)))
def test_a_sheet_that_is_sliced(some, width, height, values, raster):
    _, layouts, steps = sliced(some, width, height, values, raster=raster)
    assert len(layouts) == 4
    assert steps > 0 or not any(layouts)
    for spots in layouts:
        check_sheet(some, spots, width, height, Cuts.STRAIGHT)
        for index, number in item_counts(spots).items():
            assert number <= some[index].demand
            assert values[index] > 0


@settings(max_examples=100, deadline=None)
@given(shapes, sheet_sides, sheet_sides, worths)
def test_it_is_worth_as_much_as_another_method_finds(some, width, height, values):
    """Where pieces can be had without end the first layout is worth the most that a sheet holds.

    The exact price of Gilmore and Gomory is reckoned a second time by the code that bounds.
    """
    endless = [one._replace(demand=1000) for one in some]
    most, layouts, _ = sliced(endless, width, height, values, 1)
    task = Task("", tuple(endless), (BinType(width, height, None, 1),), (), (), 1, 1)
    ((best, _),) = GuillotinePricing(task).solve(values[: len(some)], never)
    assert most == best
    assert sum(values[spot.item_type] for spot in layouts[0]) == best


def test_what_is_wanted_no_more_leaves_its_place_to_the_next_best():
    some = (ItemType(10, 10, 1, False), ItemType(9, 10, 3, False))
    _, layouts, _ = sliced(some, 40, 10, (10, 8), 1)
    assert item_counts(layouts[0]) == {0: 1, 1: 3}


def test_corners_are_sheets_of_their_own():
    corners = tuple(Rect(x, y, 10, 10) for x in (0, 20) for y in (0, 20))
    some = (ItemType(30, 30, 1, False, corners), ItemType(10, 10, 9, False))
    most, layouts, _ = sliced(some, 40, 30, (90, 5), 1)
    assert most == 90 + 7 * 5
    assert item_counts(layouts[0]) == {0: 1, 1: 7}


def test_pieces_too_small_for_the_table_fill_what_is_left_over():
    some = (ItemType(60, 100, 1, False), ItemType(1, 1, 7, False))
    _, layouts, _ = sliced(some, 100, 100, (50, 1), 1)
    assert item_counts(layouts[0]) == {0: 1, 1: 7}


def test_layouts_differ_where_cuts_are_as_good():
    some = (ItemType(30, 40, 99, True), ItemType(20, 40, 99, True), ItemType(10, 40, 99, True))
    _, layouts, _ = sliced(some, 120, 80, (30, 20, 10), 12)
    assert {sum((30, 20, 10)[spot.item_type] for spot in spots) for spots in layouts} == {240}
    assert len({tuple(sorted(item_counts(spots).items())) for spots in layouts}) > 3
