import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from nester.core.lengths import inch, mm
from nester.core.piece import Grain, Turn
from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import after_seconds, solve
from nester.packing.search.rectpack_start import all_rectpack_plans, rectpack_plans
from nester.packing.search.solve import NO_ROOM_FOUND, NO_SHEET_LEFT
from nester.packing.task.task import tasks_by_paper
from nester.verify import verify

both_cuts = pytest.mark.parametrize("cuts", list(Cuts))


def want(name, width, height, quantity=1, paper="", turn=Turn.ANY):
    return Demand(name, mm(width), mm(height), quantity, paper, turn)


def stock(name, width, height, quantity=None, price=None, paper=""):
    cost = Fraction(width * height) if price is None else Fraction(price)
    return StockItem(name, mm(width), mm(height), quantity, cost, paper)


def solved(wants, sheets, cuts=Cuts.STRAIGHT, effort=Effort.QUICK):
    problem = Problem(tuple(wants), tuple(sheets), cuts)
    answer = solve(problem, effort)
    assert verify(problem, answer) == []
    return answer


def made(answer):
    counts = Counter()
    for layout in answer.layouts:
        for piece in layout.placed:
            counts[piece.name] += layout.copies
    return counts


def unplaced(answer):
    return {one.name: one.quantity for one in answer.unplaced}


@both_cuts
def test_names_are_given_out_exactly(cuts):
    wants = [
        want("a", 100, 70, 3),
        want("b", 70, 100, 4),
        want("c", 100, 70, 5, turn=Turn.NONE),
        want("d", 100, 70, 2, turn=Turn.HALF),
        want("e", 50, 50, 7),
        want("f", 50, 50, 1, turn=Turn.NONE),
    ]
    answer = solved(wants, [stock("s", 300, 210), stock("t", 110, 80, 3)], cuts)
    assert made(answer) == {"a": 3, "b": 4, "c": 5, "d": 2, "e": 7, "f": 1}


@both_cuts
def test_turn_rules(cuts):
    sheet = [stock("s", 100, 50, price=1)]
    upright = {"any": Turn.ANY, "half": Turn.HALF, "none": Turn.NONE}
    answer = solved(
        [want(name, 50, 100, 1, turn=turn) for name, turn in upright.items()], sheet, cuts
    )
    assert made(answer) == {"any": 1}
    assert answer.layouts[0].placed[0].turned
    assert {one.name: one.why for one in answer.unplaced} == {
        "half": "it fits no sheet without a turn that it may not make",
        "none": "it fits no sheet without a turn that it may not make",
    }


@both_cuts
def test_each_piece_is_cut_from_its_own_paper(cuts):
    wants = [
        want("a", 50, 50, 4, "red"),
        want("b", 50, 50, 4, "blue"),
        want("c", 50, 50, 1),
        want("d", 50, 50, 1, "green"),
    ]
    sheets = [
        stock("r", 100, 100, paper="red", price=3),
        stock("b", 100, 50, paper="blue", price=2),
        stock("plain", 60, 60, price=1),
    ]
    answer = solved(wants, sheets, cuts)
    assert made(answer) == {"a": 4, "b": 4, "c": 1}
    assert answer.cost == answer.lower_bound == 3 + 2 * 2 + 1
    assert unplaced(answer) == {"d": 1}
    assert "green" in answer.unplaced[0].why


@both_cuts
def test_where_sheets_run_short_the_rest_is_listed(cuts):
    wants = [want("large", 90, 90, 5), want("small", 40, 40, 9), want("huge", 900, 5)]
    answer = solved(wants, [stock("s", 100, 100, 3)], cuts)
    assert answer.sheet_count == 3
    assert made(answer) + Counter(unplaced(answer)) == {"large": 5, "small": 9, "huge": 1}
    # By area three large ones are the best that three sheets can hold.
    assert made(answer) == {"large": 3}
    assert [one.name for one in answer.unplaced] == ["large", "small", "huge"]
    assert answer.cost == answer.lower_bound


@both_cuts
def test_limited_sheets_are_used_before_dearer_ones(cuts):
    wants = [want("a", 50, 50, 12)]
    sheets = [stock("offcut", 50, 100, 2, price=0), stock("new", 100, 100, price=5)]
    answer = solved(wants, sheets, cuts)
    used = {layout.stock: layout.copies for layout in answer.layouts}
    assert used == {"offcut": 2, "new": 2}
    assert answer.cost == answer.lower_bound == 10
    assert answer.optimality_gap == 0


@both_cuts
def test_sheets_that_cost_nothing(cuts):
    answer = solved([want("a", 50, 50, 3)], [stock("s", 60, 60, price=0)], cuts)
    assert (answer.cost, answer.lower_bound, answer.optimality_gap) == (0, 0, 0)
    assert made(answer) == {"a": 3}


@both_cuts
def test_odd_prices_are_kept_exactly(cuts):
    sheets = [
        stock("s", 100, 100, 1, price=Fraction(1, 3)),
        stock("t", 100, 100, 1, price=Fraction(2, 7)),
        stock("u", 100, 100, price=Fraction("1.0001")),
    ]
    answer = solved([want("a", 60, 60, 4)], sheets, cuts)
    assert (
        answer.cost
        == answer.lower_bound
        == Fraction(1, 3) + Fraction(2, 7) + 2 * Fraction("1.0001")
    )


@both_cuts
def test_a_million_pieces(cuts):
    answer = solved([want("a", 100, 70, 10**6)], [stock("s", 700, 500)], cuts)
    assert made(answer) == {"a": 10**6}
    assert len(answer.layouts) < 10


@both_cuts
def test_a_million_pieces_and_twenty_prices(cuts):
    wants = [want("a", 97, 71, 10**6), want("b", 33, 71, 10**6)]
    sheets = [stock(f"s{n}", 700 + n, 500, price=Fraction(10**9, 7 + n)) for n in range(20)]
    answer = solved(wants, sheets, cuts)
    assert made(answer) == {"a": 10**6, "b": 10**6}
    assert 0 < answer.lower_bound < answer.cost


@both_cuts
def test_the_finest_sizes(cuts):
    wants = (Demand("dot", 1, 1, 10), Demand("line", mm(9000) + 1, 7, 3))
    problem = Problem(
        wants, (StockItem("s", mm(10000), mm(10000) - 1, None, Fraction(1, 7)),), cuts
    )
    answer = solve(problem, Effort.QUICK)
    assert verify(problem, answer) == []
    assert answer.cost == answer.lower_bound == Fraction(1, 7)


@both_cuts
def test_a_piece_of_exactly_the_sheet_and_one_hair_larger(cuts):
    exact = solved([want("a", 210, 297)], [stock("s", 297, 210)], cuts)
    assert not exact.unplaced
    assert exact.layouts[0].cuts == ()
    hair = Problem((Demand("a", mm(210) + 1, mm(297), 1),), (stock("s", 297, 210),), cuts)
    assert unplaced(solve(hair)) == {"a": 1}


@both_cuts
def test_inches_and_millimetres_mix_exactly(cuts):
    thirds = Demand("third", inch(4), inch(12), 3)
    answer = solved([thirds], [StockItem("s", mm("304.8"), inch(12), None, Fraction(1))], cuts)
    assert answer.sheet_count == 1


@both_cuts
def test_nothing_wanted_and_no_sheets(cuts):
    nothing = solved([], [stock("s", 10, 10)], cuts)
    assert (nothing.layouts, nothing.unplaced, nothing.cost, nothing.lower_bound) == ((), (), 0, 0)
    no_sheets = solved([want("a", 5, 5, 2)], [], cuts)
    assert unplaced(no_sheets) == {"a": 2}
    none_left = solved([want("a", 5, 5, 2)], [stock("s", 10, 10, 0)], cuts)
    assert unplaced(none_left) == {"a": 2}


def random_problem(seed, cuts):
    rng = Random(seed)
    papers = ["", "red"][: rng.randint(1, 2)]
    wants = tuple(
        want(
            f"w{n}",
            rng.randint(20, 200),
            rng.randint(20, 200),
            rng.randint(1, 4),
            rng.choice(papers),
            rng.choice(list(Turn)),
        )
        for n in range(rng.randint(3, 9))
    )
    sheets = tuple(
        stock(f"s{n}", rng.randint(200, 400), rng.randint(200, 400), rng.choice([None, 9]), paper=p)
        for n, p in enumerate(papers * 2)
    )
    return Problem(wants, sheets, cuts)


@both_cuts
def test_the_same_problem_has_the_same_answer(cuts):
    for seed in range(2):
        assert solve(random_problem(seed, cuts), Effort.QUICK) == solve(
            random_problem(seed, cuts), Effort.QUICK
        )


SOLVE_ELSEWHERE = """
import sys
from fractions import Fraction
from nester.core.problem import *
from nester.core.piece import Grain, Turn
from nester.packing import solve
print(repr(solve(eval(sys.stdin.read()), Effort.QUICK)))
"""


@pytest.mark.parametrize("hash_seed", ["1", "4242"])
def test_another_process_gives_the_same_answer(hash_seed):
    problem = random_problem(7, Cuts.STRAIGHT)
    told = repr(problem)
    for word in (*Cuts, *Grain, *Turn):
        told = told.replace(repr(word), f"{type(word).__name__}.{word.name}")
    elsewhere = subprocess.run(
        [sys.executable, "-c", SOLVE_ELSEWHERE],
        input=told,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
    )
    assert elsewhere.stdout.strip() == repr(solve(problem, Effort.QUICK))


@pytest.mark.parametrize(("seed", "cuts"), [(0, Cuts.STRAIGHT), (2, Cuts.FREE)])
def test_more_effort_is_never_dearer(seed, cuts):
    problem = random_problem(seed, cuts)
    quick, normal = solve(problem, Effort.QUICK), solve(problem, Effort.NORMAL)
    assert verify(problem, quick) == verify(problem, normal) == []
    assert not quick.unplaced
    assert not normal.unplaced
    assert normal.cost <= quick.cost


@both_cuts
def test_stopped_at_once_there_is_still_a_whole_answer(cuts):
    problem = random_problem(1, cuts)
    answer = solve(problem, Effort.THOROUGH, stop=lambda: True)
    assert verify(problem, answer) == []
    assert not answer.unplaced


def test_stop_after_seconds_goes_by_its_clock():
    now = [5.0]
    stop = after_seconds(3, clock=lambda: now[0])
    assert not stop()
    now[0] = 7.9
    assert not stop()
    now[0] = 8.0
    assert stop()


def test_progress_is_told_and_only_gets_better():
    told = []
    problem = random_problem(1, Cuts.STRAIGHT)
    many = tuple(replace(one, quantity=5) for one in problem.demands)
    answer = solve(replace(problem, demands=many), Effort.QUICK, on_progress=told.append)
    assert len(told) > 1
    costs = [one.cost for one in told]
    assert costs == sorted(costs, reverse=True)
    assert (told[-1].cost, told[-1].sheet_count) == (answer.cost, answer.sheet_count)
    assert all(0 <= one.papers_done <= one.papers for one in told)


def crossing_problem():
    """Pieces for which rectpack gives layouts that no trimmer can cut."""
    rng = Random(3)
    wants = tuple(want(f"w{n}", rng.randint(1, 10), rng.randint(1, 10)) for n in range(40))
    return Problem(wants, (stock("s", 30, 30, price=1),))


def test_plans_that_do_not_come_apart_are_passed_over():
    (task,), _ = tasks_by_paper(crossing_problem())
    assert len(list(all_rectpack_plans(task, Cuts.STRAIGHT))) == 36
    assert 0 < len(list(rectpack_plans(task, Cuts.STRAIGHT))) < 36


def test_straight_answers_come_apart_even_then():
    problem = crossing_problem()
    assert verify(problem, solve(problem, Effort.QUICK)) == []


def test_pieces_that_may_fit_are_not_called_impossible() -> None:
    # 7 of 2 × 3 on 6 × 7: a plan exists (42 of 42), and a quick search must find it or not deny it.
    stock = StockItem("sheet", mm(6), mm(7), 1, Fraction(1))
    problem = Problem((Demand("tile", mm(2), mm(3), 7),), (stock,), Cuts.STRAIGHT)
    plan = solve(problem, Effort.QUICK)
    assert {piece.why for piece in plan.unplaced} <= {NO_ROOM_FOUND}
    full = solve(replace(problem, demands=(Demand("tile", mm(2), mm(3), 8),)), Effort.QUICK)
    assert [(piece.quantity, piece.why) for piece in full.unplaced][-1][1] == NO_SHEET_LEFT
