"""Measure the optimizer on sheets of several sizes in limited number: as little area as possible.

    python tests/benchmarks/several_sheet_sizes.py --only M2a M3c

Prints Markdown tables: one row an instance, and the average of each class beside published
figures.  Utilisation is the area of the pieces over the area of the sheets used; "at most" is
what the proven bound leaves possible.  The instances are M1a to M3e of Hopper and Turton, "An
empirical study of meta-heuristics applied to 2D rectangular bin packing", Studia Informatica
Universalis 2 (2002), as two CSV lists: instance,width,height,quantity.  No piece may be turned;
cuts run from edge to edge.  Every answer goes through `nester.verify` before it is counted.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from statistics import mean

from nester.core.lengths import mm
from nester.core.piece import Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import solve
from nester.verify import require_valid

FOLDER = Path("../shared/benchmarks")
PUBLISHED = {
    "ruin and recreate": {"M1": "98.4", "M2": "97.2", "M3": "98.0", "all": "97.85"},
    "Hong et al.": {"M1": "98.4", "M2": "95.6", "M3": "97.4", "all": "97.13"},
    "best-fit search": {"M1": "95.5", "M2": "91.0", "M3": "94.9", "all": "93.47"},
}
"""Average utilisation, %, by Gardeyn and Wauters, European Journal of Operational Research
(2022), Table 3: theirs, that of Hong et al. (2014), and that of Ortmann et al. (2010)."""


@dataclass(frozen=True)
class Result:
    """What came of one instance: areas in square units, and seconds of processor time."""

    pieces: int
    sheets: int
    bound: int
    seconds: float

    @property
    def utilisation(self) -> float:
        """Area of the pieces over the area of the sheets used, in percent."""
        return 100 * self.pieces / self.sheets

    @property
    def possible(self) -> float:
        """The greatest utilisation that the proven bound leaves possible, in percent."""
        return 100 * self.pieces / self.bound


def read_instances(folder: Path) -> dict[str, Problem]:
    """Return the instances by name; one unit of theirs is taken for a millimetre."""
    wants: dict[str, list[Demand]] = defaultdict(list)
    stock: dict[str, list[StockItem]] = defaultdict(list)
    for name, width, height, quantity in _lines(folder / "several_sheet_sizes_pieces.csv"):
        number = str(len(wants[name]))
        wants[name].append(Demand(number, mm(width), mm(height), quantity, turn=Turn.NONE))
    for name, width, height, quantity in _lines(folder / "several_sheet_sizes_sheets.csv"):
        price = Fraction(width * height)
        sheet = StockItem(f"{width} × {height}", mm(width), mm(height), quantity, price)
        stock[name].append(sheet)
    return {name: Problem(tuple(wants[name]), tuple(stock[name]), Cuts.STRAIGHT) for name in wants}


def _lines(path: Path) -> list[tuple[str, int, int, int]]:
    with path.open(newline="", encoding="utf-8") as file:
        return [
            (line["instance"], int(line["width"]), int(line["height"]), int(line["quantity"]))
            for line in csv.DictReader(file)
        ]


def measure(problem: Problem, effort: Effort) -> Result:
    """Solve an instance.

    Raises
    ------
    RuntimeError
        If pieces are left unplaced.
    """
    begun = time.process_time()
    answer = solve(problem, effort)
    seconds = time.process_time() - begun
    require_valid(problem, answer)
    if answer.unplaced:
        raise RuntimeError("pieces are left unplaced")
    area = sum(want.width * want.height * want.quantity for want in problem.demands) // mm(1) ** 2
    return Result(area, int(answer.cost), int(answer.lower_bound), seconds)


def instance_table(results: dict[str, Result]) -> str:
    """Write results as a Markdown table, one row an instance."""
    rows = [
        "| instance | pieces | sheets | bound | utilisation % | at most % | s |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for name, one in results.items():
        rows.append(
            f"| {name} | {one.pieces} | {one.sheets} | {one.bound} |"
            f" {one.utilisation:.2f} | {one.possible:.2f} | {one.seconds:.1f} |"
        )
    return "\n".join(rows)


def class_table(results: dict[str, Result]) -> str:
    """Write averages as a Markdown table, one row a class and one for all."""
    of_class: dict[str, list[Result]] = defaultdict(list)
    for name, result in results.items():
        of_class[name[:2]].append(result)
    of_class["all"] = list(results.values())
    rows = [
        f"| class | number | utilisation % | at most % | mean s | {' | '.join(PUBLISHED)} |",
        f"| --- | ---: | ---: | ---: | ---: |{' ---: |' * len(PUBLISHED)}",
    ]
    for name, group in of_class.items():
        published = " | ".join(figures.get(name, "") for figures in PUBLISHED.values())
        rows.append(
            f"| {name} | {len(group)} | {mean(one.utilisation for one in group):.2f} |"
            f" {mean(one.possible for one in group):.2f} |"
            f" {mean(one.seconds for one in group):.1f} | {published} |"
        )
    return "\n".join(rows)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--folder", type=Path, default=FOLDER, help="where the two lists are")
    parser.add_argument("--effort", type=Effort, choices=list(Effort), default=Effort.NORMAL)
    parser.add_argument("--only", nargs="+", metavar="NAME", help="only these instances")
    return parser.parse_args()


def main() -> None:
    """Measure what is asked for on the command line."""
    given = _arguments()
    problems = read_instances(given.folder)
    results = {}
    for name in given.only or problems:
        results[name] = measure(problems[name], given.effort)
        print(name, file=sys.stderr)
    tables = f"{instance_table(results)}\n\n{class_table(results)}"
    print(f"straight cuts, no turning, effort {given.effort}\n\n{tables}")


if __name__ == "__main__":
    main()
