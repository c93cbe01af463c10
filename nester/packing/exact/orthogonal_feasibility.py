"""The orthogonal packing problem by CP-SAT: place pieces on a sheet, or prove it impossible."""

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


def _normal_points(sides: Sequence[tuple[int, int]], limit: int) -> list[int]:
    """Return the places at which a piece's edge may lie, at most `limit`, rising.

    Whatever lies on a sheet can be pushed left and up until everything touches; then each edge
    is a sum of sides away from the sheet's (normal patterns: Herz, IBM Journal of Research and
    Development 16, 1972; Christofides and Whitlock, Operations Research 25, 1977).  Where there
    are too many such sums nothing is returned: any place will do.

    Parameters
    ----------
    sides
        Each with how often it may be used.
    """
    points = {0}
    for side, count in sides:
        for _ in range(count):
            points |= {point + side for point in points if point + side <= limit}
            if len(points) > _MAX_POINTS:
                return []
    return sorted(points)


def _domain(sides: Sequence[tuple[int, int]], limit: int) -> Domain:
    from ortools.util.python.sorted_interval_list import Domain

    points = _normal_points(sides, limit)
    return Domain.from_values(points) if points else Domain(0, limit)


def _domains(
    items: Sequence[ItemType], counts: ItemCounts, sheet: BinType
) -> tuple[Domain, Domain]:
    """Return where left and upper edges may lie; anywhere, if pieces may reach into others."""
    from ortools.util.python.sorted_interval_list import Domain

    if any(count and item.voids for item, count in zip(items, counts, strict=True)):
        return Domain(0, sheet.width), Domain(0, sheet.height)
    sizes = [
        (size, count)
        for item, count in zip(items, counts, strict=True)
        for size in orientations(item)
    ]
    across = _domain([(size[0], count) for size, count in sizes], sheet.width)
    return across, _domain([(size[1], count) for size, count in sizes], sheet.height)


def _solid_parts(item: ItemType, turned: IntVar | bool) -> Iterator[tuple[LiteralT, Rect]]:
    """Yield what is solid of a shape upright, and turned if it may be, and when that counts."""
    for orientation, size in enumerate(orientations(item)):
        present: LiteralT = True
        if not isinstance(turned, bool):
            present = turned if orientation else turned.negated()
        for solid in solid_rows(Rect(0, 0, *size), item.voids_at(0, 0, orientation > 0)):
            yield present, solid


def solve_orthogonal_packing(
    items: Sequence[ItemType], counts: ItemCounts, sheet: BinType, seconds: float
) -> tuple[tuple[Placement, ...] | None, float]:
    """Lay a content on a sheet by free cuts; pieces may reach into the voids of others.

    Returns
    -------
    tuple of Placement, or None
        Where the pieces lie; empty if the sheet does not hold them; None if it is undecided.
    float
        The work it took, in CP-SAT's deterministic time.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    across, down = _domains(items, counts, sheet)
    x_spans, y_spans = [], []
    widths: list[LinearExpr | int] = []
    heights: list[LinearExpr | int] = []
    placed = []
    for item_type, item in enumerate(items):
        previous_x = None
        for _ in range(counts[item_type]):
            turned = model.new_bool_var("") if item.rotatable else False
            difference = item.height - item.width
            width, height = item.width + difference * turned, item.height - difference * turned
            x = model.new_int_var_from_domain(across, "")
            y = model.new_int_var_from_domain(down, "")
            if item.voids:
                model.add(x + width <= sheet.width)
                model.add(y + height <= sheet.height)
                for present, solid in _solid_parts(item, turned):
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
                    widths.append(solid.width)
                    heights.append(solid.height)
            else:
                right = model.new_int_var(0, sheet.width, "")
                bottom = model.new_int_var(0, sheet.height, "")
                x_spans.append(model.new_interval_var(x, width, right, ""))
                y_spans.append(model.new_interval_var(y, height, bottom, ""))
                widths.append(width)
                heights.append(height)
            placed.append((item_type, x, y, turned))
            if previous_x is not None:
                model.add(previous_x <= x)  # equal pieces from left to right
            previous_x = x
    model.add_no_overlap_2d(x_spans, y_spans)
    model.add_cumulative(x_spans, heights, sheet.height)
    model.add_cumulative(y_spans, widths, sheet.width)
    solver = cp_solver(_DETERMINISTIC_TIME, seconds)
    status = solve(solver, model)
    work = solver.response_proto.deterministic_time
    if status == cp_model.INFEASIBLE:
        return (), work
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, work
    placements = tuple(
        Placement(item_type, solver.value(x), solver.value(y), bool(solver.value(turned)))
        for item_type, x, y, turned in placed
    )
    return placements, work
