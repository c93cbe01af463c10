"""Whole plus-shaped blanks on one sheet, cut free: how many interlock, and how long that takes.

Run as ``python tests/benchmarks/crosses.py``; ``--effort`` is quick, normal or thorough.
"""

from __future__ import annotations

import argparse
import time
from fractions import Fraction

from nester.core.lengths import mm
from nester.core.problem import Cuts, Demand, Effort, Problem, Rect, StockItem
from nester.packing import solve
from nester.verify import require_valid

CASES = (
    (560, 710, 80, 7),
    (560, 710, 70, 10),
    (560, 710, 60, 13),
    (500, 700, 60, 12),
    (500, 650, 70, 8),
    (594, 841, 80, 9),
)
"""Sheet and panel in mm, and how many crosses a constraint solver found in 30 s on two cores (the
first is proved the most that are possible)."""
WANTED = 20


def problem_of(width: int, height: int, panel: int) -> Problem:
    """Return the problem of one sheet and more crosses than it holds."""
    side = mm(panel)
    corners = tuple(Rect(x, y, side, side) for x in (0, 2 * side) for y in (0, 2 * side))
    return Problem(
        (Demand("cross", 3 * side, 3 * side, WANTED, voids=corners),),
        (StockItem("sheet", mm(width), mm(height), 1, Fraction(1)),),
        Cuts.FREE,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--effort", type=Effort, default=Effort.NORMAL)
    effort = parser.parse_args().effort
    rows = [
        "| sheet, mm | panel, mm | as squares | known | found | seconds |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for width, height, panel, known in CASES:
        problem = problem_of(width, height, panel)
        begun = time.perf_counter()
        answer = solve(problem, effort)
        seconds = time.perf_counter() - begun
        require_valid(problem, answer)
        found = sum(len(layout.placed) for layout in answer.layouts)
        squares = (width // (3 * panel)) * (height // (3 * panel))
        sizes = f"{width} × {height} | {panel}"
        rows.append(f"| {sizes} | {squares} | {known} | {found} | {seconds:.1f} |")
    print("\n".join(rows))


if __name__ == "__main__":
    main()
