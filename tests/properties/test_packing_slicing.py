"""Sheets sliced along a table: what lies on them fits, can be cut, and is worth the most."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from nester.core.problem import Cuts, Rect
from nester.packing import (
    never,
)
from nester.packing.bounds.guillotine_pricing import StraightWorth
from nester.packing.patterns.guillotine_dp import RASTER, Slicing
from nester.packing.task.task import Kind, Shape, Task, usage

from .test_packing_fill import check_sheet, shapes, sheet_sides

worths = st.lists(st.integers(0, 9), min_size=6, max_size=6)


def sliced(some, width, height, values, number=4, raster=RASTER):
    task = Task("", tuple(some), (Kind(width, height, None, 1),), (), (), 1, 1)
    method = Slicing(task, Random(1), raster)
    method.price(task.demand, [float(value) for value in values[: len(some)]])
    return method.most(0), list(method.layouts(0, number)), method.steps


@settings(max_examples=150, deadline=None)
@given(shapes, sheet_sides, sheet_sides, worths, st.sampled_from((4, 11, 1000)))
def test_a_sheet_that_is_sliced(some, width, height, values, raster):
    _, layouts, steps = sliced(some, width, height, values, raster=raster)
    assert len(layouts) == 4
    assert steps > 0 or not any(layouts)
    for spots in layouts:
        check_sheet(some, spots, width, height, Cuts.STRAIGHT)
        for index, number in usage(spots).items():
            assert number <= some[index].wanted
            assert values[index] > 0


@settings(max_examples=100, deadline=None)
@given(shapes, sheet_sides, sheet_sides, worths)
def test_it_is_worth_as_much_as_another_method_finds(some, width, height, values):
    """Where pieces can be had without end the first layout is worth the most that a sheet holds.

    The exact price of Gilmore and Gomory is reckoned a second time by the code that bounds.
    """
    endless = [one._replace(wanted=1000) for one in some]
    most, layouts, _ = sliced(endless, width, height, values, 1)
    task = Task("", tuple(endless), (Kind(width, height, None, 1),), (), (), 1, 1)
    ((best, _),) = StraightWorth(task).best(values[: len(some)], never)
    assert most == best
    assert sum(values[spot.shape] for spot in layouts[0]) == best


def test_what_is_wanted_no_more_leaves_its_place_to_the_next_best():
    some = (Shape(10, 10, 1, False), Shape(9, 10, 3, False))
    _, layouts, _ = sliced(some, 40, 10, (10, 8), 1)
    assert usage(layouts[0]) == {0: 1, 1: 3}


def test_corners_are_sheets_of_their_own():
    corners = tuple(Rect(x, y, 10, 10) for x in (0, 20) for y in (0, 20))
    some = (Shape(30, 30, 1, False, corners), Shape(10, 10, 9, False))
    most, layouts, _ = sliced(some, 40, 30, (90, 5), 1)
    assert most == 90 + 7 * 5
    assert usage(layouts[0]) == {0: 1, 1: 7}


def test_pieces_too_small_for_the_table_fill_what_is_left_over():
    some = (Shape(60, 100, 1, False), Shape(1, 1, 7, False))
    _, layouts, _ = sliced(some, 100, 100, (50, 1), 1)
    assert usage(layouts[0]) == {0: 1, 1: 7}


def test_layouts_differ_where_cuts_are_as_good():
    some = (Shape(30, 40, 99, True), Shape(20, 40, 99, True), Shape(10, 40, 99, True))
    _, layouts, _ = sliced(some, 120, 80, (30, 20, 10), 12)
    assert {sum((30, 20, 10)[spot.shape] for spot in spots) for spots in layouts} == {240}
    assert len({tuple(sorted(usage(spots).items())) for spots in layouts}) > 3
