"""Lay given pieces on one sheet by free cuts, or prove that it does not hold them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from nester.core.geometry import solid_rows
from nester.core.problem import Rect
from nester.packing.exact.guillotine_fronts import ItemCounts
from nester.packing.runtime.cp_sat import cp_solver, solve
from nester.packing.task.task import BinType, ItemType, Placement, orientations

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import IntVar, LinearExpr, LiteralT
    from ortools.util.python.sorted_interval_list import Domain

__all__ = ["BASE_STEPS", "STEPS_PER_TIME", "solve_orthogonal_packing"]

_MAX_POINTS = 2000
"""With more places for a piece than this, all whole numbers are as good."""
_DETERMINISTIC_TIME = 0.5
"""CP-SAT's deterministic time for one question."""
BASE_STEPS = 300
STEPS_PER_TIME = 100_000
"""What asking costs at least, and by the work it takes, in ways to part a content (measured)."""


def _normal_points(sides: Sequence[tuple[int, int]], most: int) -> list[int]:
    """Return the places at which a piece's edge may lie, at most `most`, rising.

    Whatever lies on a sheet can be pushed left and up until everything touches; then each edge
    is a sum of sides away from the sheet's (normal patterns: Herz, IBM Journal of Research and
    Development 16, 1972; Christofides and Whitlock, Operations Research 25, 1977).  Where there
    are too many such sums nothing is returned: any place will do.

    Parameters
    ----------
    sides
        Each with how often it may be used.
    """
    places = {0}
    for side, times in sides:
        for _ in range(times):
            places |= {place + side for place in places if place + side <= most}
            if len(places) > _MAX_POINTS:
                return []
    return sorted(places)


def _domain(sides: Sequence[tuple[int, int]], most: int) -> Domain:
    from ortools.util.python.sorted_interval_list import Domain

    places = _normal_points(sides, most)
    return Domain.from_values(places) if places else Domain(0, most)


def _domains(
    shapes: Sequence[ItemType], content: ItemCounts, sheet: BinType
) -> tuple[Domain, Domain]:
    """Return where left and upper edges may lie; anywhere, if pieces may reach into others."""
    from ortools.util.python.sorted_interval_list import Domain

    if any(n and shape.voids for shape, n in zip(shapes, content, strict=True)):
        return Domain(0, sheet.width), Domain(0, sheet.height)
    sizes = [
        (way, n) for shape, n in zip(shapes, content, strict=True) for way in orientations(shape)
    ]
    across = _domain([(way[0], n) for way, n in sizes], sheet.width)
    return across, _domain([(way[1], n) for way, n in sizes], sheet.height)


def _solid_parts(shape: ItemType, turned: IntVar | bool) -> Iterator[tuple[LiteralT, Rect]]:
    """Yield what is solid of a shape upright, and turned if it may be, and when that counts."""
    for number, size in enumerate(orientations(shape)):
        present: LiteralT = True
        if not isinstance(turned, bool):
            present = turned if number else turned.negated()
        for solid in solid_rows(Rect(0, 0, *size), shape.voids_at(0, 0, number > 0)):
            yield present, solid


def solve_orthogonal_packing(
    shapes: Sequence[ItemType], content: ItemCounts, sheet: BinType, seconds: float
) -> tuple[tuple[Placement, ...] | None, float]:
    """Lay a content on a sheet by free cuts; pieces may reach into the voids of others.

    Returns
    -------
    tuple of Spot, or None
        Where the pieces lie; empty if the sheet does not hold them; None if it could not be told.
    float
        The work it took, in CP-SAT's deterministic time.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    across, down = _domains(shapes, content, sheet)
    x_spans, y_spans = [], []
    wides: list[LinearExpr | int] = []
    highs: list[LinearExpr | int] = []
    laid = []
    for index, shape in enumerate(shapes):
        before = None
        for _ in range(content[index]):
            turned = model.new_bool_var("") if shape.rotatable else False
            longer = shape.height - shape.width
            wide, high = shape.width + longer * turned, shape.height - longer * turned
            x = model.new_int_var_from_domain(across, "")
            y = model.new_int_var_from_domain(down, "")
            if shape.voids:
                model.add(x + wide <= sheet.width)
                model.add(y + high <= sheet.height)
                for present, solid in _solid_parts(shape, turned):
                    x_spans.append(
                        model.new_optional_fixed_size_interval_var(
                            x + solid.x, solid.width, present, ""
                        )
                    )
                    y_spans.append(
                        model.new_optional_fixed_size_interval_var(
                            y + solid.y, solid.height, present, ""
                        )
                    )
                    wides.append(solid.width)
                    highs.append(solid.height)
            else:
                right = model.new_int_var(0, sheet.width, "")
                bottom = model.new_int_var(0, sheet.height, "")
                x_spans.append(model.new_interval_var(x, wide, right, ""))
                y_spans.append(model.new_interval_var(y, high, bottom, ""))
                wides.append(wide)
                highs.append(high)
            laid.append((index, x, y, turned))
            if before is not None:
                model.add(before <= x)  # equal pieces from left to right
            before = x
    model.add_no_overlap_2d(x_spans, y_spans)
    model.add_cumulative(x_spans, highs, sheet.height)
    model.add_cumulative(y_spans, wides, sheet.width)
    solver = cp_solver(_DETERMINISTIC_TIME, seconds)
    status = solve(solver, model)
    work = solver.response_proto.deterministic_time
    if status == cp_model.INFEASIBLE:
        return (), work
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, work
    spots = tuple(
        Placement(index, solver.value(x), solver.value(y), bool(solver.value(turned)))
        for index, x, y, turned in laid
    )
    return spots, work
