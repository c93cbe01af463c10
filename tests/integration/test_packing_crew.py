"""Searches in several processes: the same answer, stopped and ended like searches in one."""

import os
import signal
import subprocess
import sys
import time
from fractions import Fraction
from functools import partial
from importlib import import_module
from multiprocessing import resource_tracker
from pathlib import Path
from random import Random
from unittest.mock import patch

import pytest

from nester.core.problem import Cuts, Demand, Effort, Problem, StockItem
from nester.packing import never, solve
from nester.packing.search.paper_search import Budget, Command, PaperSearch, start_search
from nester.packing.task.task import tasks_by_paper
from nester.verify import verify

CREW = import_module("nester.packing.runtime.worker_processes")
SOLVE = import_module("nester.packing.search.solve")
SHORT = Budget(
    value_correction=2_000, exact=1_000, bounding=5_000, ruin_recreate=10_000, diving=10_000,
    pricing=20_000, completions=20_000, covering_time=0.02, reduction_time=0.05,
)  # fmt: skip


def some_problem(papers=3, seed=1):
    chance = Random(seed)
    wants, stock = [], []
    for paper in map(str, range(papers)):
        for number in range(9):
            sides = chance.randint(70, 190), chance.randint(70, 190)
            wants.append(Demand(f"{paper} {number}", *sides, chance.randint(2, 12), paper))
        stock.append(StockItem(f"{paper} large", 560, 710, None, Fraction(191, 100), paper))
        stock.append(StockItem(f"{paper} small", 500, 700, None, Fraction(168, 100), paper))
    return Problem(tuple(wants), tuple(stock), Cuts.STRAIGHT, smallest_offcut=75)


@patch.object(SOLVE, "_ROUNDS", {Effort.NORMAL: (SHORT, SHORT)})
def test_the_answer_does_not_depend_on_how_many_processes_there_are():
    problem = some_problem()
    told = {1: [], 2: [], 3: []}
    answers = [solve(problem, processes=number, on_progress=told[number].append) for number in told]
    assert verify(problem, answers[0]) == []
    assert answers[0] == answers[1] == answers[2]
    for progress in told.values():
        assert progress[0].papers_done == 0
        assert progress[-1].papers_done == 3
        assert progress[-1].net_cost == answers[0].net_cost
        nets = [one.net_cost for one in progress]
        assert nets == sorted(nets, reverse=True)


def test_several_processes_stop_with_the_best_so_far():
    problem = some_problem()
    begun = []

    def stop():
        return len(begun) > 1

    answer = solve(problem, Effort.THOROUGH, processes=2, stop=stop, on_progress=begun.append)
    assert answer.interrupted
    assert verify(problem, answer) == []
    assert not answer.unplaced


def team_of(problem):
    tasks, _ = tasks_by_paper(problem)
    searches = [PaperSearch(problem, task) for task in tasks]
    makers = [partial(start_search, problem, task) for task in tasks]
    return CREW.worker_pool(searches, makers, [1.0] * len(tasks), 2)


def start_all(team):
    return dict(team.do(dict.fromkeys(range(3), Command.START), never))


def test_what_goes_wrong_in_a_process_is_told():
    with team_of(some_problem()) as team:
        team._process_of[9] = 0
        with pytest.raises(KeyError):
            list(team.do({9: SHORT}, never))


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="there are no signal masks")
def test_ctrl_c_does_not_end_processes_that_are_only_beginning():
    resource_tracker._resource_tracker._stop()  # as in a program that begins its first process
    with team_of(some_problem()) as team:
        for worker in team._processes:
            os.kill(worker.pid, signal.SIGINT)
        assert all(state.lower_bound for state in start_all(team).values())


def test_a_process_that_is_killed_is_told():
    with team_of(some_problem()) as team:
        start_all(team)
        os.kill(team._processes[1].pid, signal.SIGTERM)
        team._processes[1].join()
        with pytest.raises(ChildProcessError, match="ended too early"):
            start_all(team)


SCRIPT = """
import sys
sys.path.insert(0, {tests!r})
from test_packing_crew import some_problem
from nester.core.problem import Effort
from nester.packing import solve

if __name__ == "__main__":
    solve(some_problem(), Effort.THOROUGH, processes=2, on_progress=lambda _: print(_, flush=True))
"""


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="children are looked up in /proc")
def test_no_process_outlives_the_one_that_asked(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(SCRIPT.format(tests=str(Path(__file__).parent)), encoding="utf-8")
    with subprocess.Popen([sys.executable, script], stdout=subprocess.PIPE, text=True) as asking:
        assert asking.stdout is not None
        asking.stdout.readline()
        asking.stdout.readline()
        children = children_of(asking.pid)
        assert len(children) >= 2
        asking.kill()
    for _ in range(100):
        if not any(is_running(child) for child in children):
            return
        time.sleep(0.1)
    pytest.fail("a process still runs")


def children_of(parent):
    numbers = [int(entry.name) for entry in Path("/proc").iterdir() if entry.name.isdigit()]
    return [number for number in numbers if status(number)[1:2] == [str(parent)]]


def status(number):
    """Return a process's state and parent, or nothing if it is gone."""
    try:
        text = Path(f"/proc/{number}/stat").read_text(encoding="utf-8")
    except OSError:
        return []
    return text.rpartition(")")[2].split()[:2]


def is_running(number):
    return status(number)[:1] not in ([], ["Z"])
