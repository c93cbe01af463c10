"""Measure the optimizer on many small rectangles and one sheet size: as few sheets as possible.

    python tests/benchmarks/one_sheet_size.py --first 10

Prints a Markdown table, one row a class of instances: "rectpack" is the best of that
library's settings for this way of cutting, and "cuttable" the best of those whose layouts come
apart by such cuts.  The instances are the classes of Berkey
and Wang, "Two-dimensional finite bin-packing algorithms", Journal of the Operational Research
Society 38 (1987), as a CSV list: instance,sheet_width,sheet_height,width,height,quantity, where
an instance is named class-pieces-number.  All pieces may be turned.  Every answer goes through
`nester.verify` before it is counted.
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
from nester.core.problem import Cuts, CuttingPlan, Demand, Effort, Problem, StockItem
from nester.packing import solve
from nester.packing.search.rectpack_start import all_rectpack_plans, rectpack_plans
from nester.packing.task.task import tasks_by_paper
from nester.verify import require_valid

FOLDER = Path("../shared/benchmarks")


@dataclass(frozen=True)
class Result:
    """What came of one instance."""

    sheets: int
    rectpack: int
    rectpack_can_be_cut: int | None
    bound: int
    best_known: int | None
    seconds: tuple[float, ...]


def read_instances(path: Path, cuts: Cuts) -> dict[str, Problem]:
    """Return the instances of a list by name; one unit of theirs is taken for a millimetre."""
    lines: dict[str, list[dict[str, str]]] = defaultdict(list)
    with path.open(newline="", encoding="utf-8") as file:
        for line in csv.DictReader(file):
            lines[line["instance"]].append(line)
    return {name: _problem(of_instance, cuts) for name, of_instance in lines.items()}


def _problem(lines: list[dict[str, str]], cuts: Cuts) -> Problem:
    wants = (
        Demand(str(number), mm(line["width"]), mm(line["height"]), int(line["quantity"]))
        for number, line in enumerate(lines)
    )
    width, height = mm(lines[0]["sheet_width"]), mm(lines[0]["sheet_height"])
    return Problem(tuple(wants), (StockItem("sheet", width, height, None, Fraction(1)),), cuts)


def read_best_known(path: Path, cuts: Cuts) -> dict[str, int]:
    """Return the fewest sheets known for each instance; empty if there is no such list."""
    if not path.exists():
        return {}
    with path.open(newline="", encoding="utf-8") as file:
        return {
            line["instance"]: int(line[f"{cuts}_cuts_turning"]) for line in csv.DictReader(file)
        }


def measure(problem: Problem, effort: Effort, runs: int, best_known: int | None) -> Result:
    """Solve an instance so many times, and once with each setting of rectpack.

    Raises
    ------
    RuntimeError
        If two runs give different answers.
    """
    answers: list[CuttingPlan] = []
    seconds = []
    for _ in range(runs):
        begun = time.perf_counter()
        answers.append(solve(problem, effort))
        seconds.append(time.perf_counter() - begun)
    answer = answers[0]
    if any(other != answer for other in answers):
        raise RuntimeError("the same problem has had two different answers")
    require_valid(problem, answer)
    if answer.unplaced:
        raise RuntimeError("pieces are left unplaced")
    return Result(
        answer.sheet_count,
        *_rectpack_sheets(problem),
        int(answer.lower_bound),
        best_known,
        tuple(seconds),
    )


def _rectpack_sheets(problem: Problem) -> tuple[int, int | None]:
    """Return the fewest sheets of rectpack's settings, and of those whose layouts come apart."""
    (task,), _ = tasks_by_paper(problem)
    fewest = [
        min((sum(copies for _, copies in plan) for plan in plans(task, problem.cuts)), default=None)
        for plans in (all_rectpack_plans, rectpack_plans)
    ]
    if fewest[0] is None:
        raise RuntimeError("rectpack gives no plan")
    return fewest[0], fewest[1]


def table(results: dict[str, Result]) -> str:
    """Write results as a Markdown table, one row a class and one for all."""
    of_class: dict[str, list[Result]] = defaultdict(list)
    for name, result in results.items():
        of_class[name.split("-")[0]].append(result)
    rows = [
        "| class | number | sheets | rectpack | cuttable | bound | best known | mean s | max s |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    rows += [_row(name, group) for name, group in of_class.items()]
    return "\n".join([*rows, _row("all", list(results.values()))])


def _row(name: str, results: list[Result]) -> str:
    seconds = [second for result in results for second in result.seconds]
    cells = (
        name,
        str(len(results)),
        str(sum(result.sheets for result in results)),
        str(sum(result.rectpack for result in results)),
        _total([result.rectpack_can_be_cut for result in results]),
        str(sum(result.bound for result in results)),
        _total([result.best_known for result in results]),
        f"{mean(seconds):.2f}",
        f"{max(seconds):.2f}",
    )
    return f"| {' | '.join(cells)} |"


def _total(numbers: list[int | None]) -> str:
    """Write a sum, or nothing where a number is missing."""
    present = [number for number in numbers if number is not None]
    return str(sum(present)) if len(present) == len(numbers) else ""


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--instances", type=Path, default=FOLDER / "one_sheet_size.csv")
    parser.add_argument("--best", type=Path, default=FOLDER / "one_sheet_size_best_known.csv")
    parser.add_argument("--cuts", type=Cuts, choices=list(Cuts), default=Cuts.STRAIGHT)
    parser.add_argument("--effort", type=Effort, choices=list(Effort), default=Effort.NORMAL)
    parser.add_argument("--sample", type=int, default=1, metavar="N", help="every Nth instance")
    parser.add_argument("--first", type=int, metavar="N", help="only the first N of these")
    parser.add_argument("--runs", type=int, default=1, metavar="N", help="solve each N times")
    return parser.parse_args()


def main() -> None:
    """Measure what is asked for on the command line."""
    given = _arguments()
    problems = read_instances(given.instances, given.cuts)
    best_known = read_best_known(given.best, given.cuts)
    names = list(problems)[:: given.sample][: given.first]
    results = {}
    for done, name in enumerate(names, 1):
        results[name] = measure(problems[name], given.effort, given.runs, best_known.get(name))
        print(f"{done}/{len(names)} {name}", file=sys.stderr)
    print(f"{given.cuts} cuts, effort {given.effort}\n\n{table(results)}")


if __name__ == "__main__":
    main()
