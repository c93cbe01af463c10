"""CP-SAT with repeatable answers, and solvers that a stopping rule or Ctrl-C can interrupt."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar

from nester.packing.runtime.stop import Stop, never

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, CpSolverStatus

__all__ = ["cp_solver", "interruptible", "solve"]

_POLL_SECONDS = 0.05
"""Seconds between two looks at the stopping rule."""
_MIN_SECONDS = 0.1
"""The shortest safety stop, for callers whose time is already up."""

Result = TypeVar("Result")


def cp_solver(work: float, seconds: float | None = None) -> CpSolver:
    """Return a CP-SAT solver that gives the same answer to the same model each time.

    Parameters
    ----------
    work
        Effort allowed, in CP-SAT's deterministic time.
    seconds
        A safety stop by the clock; None for none.
    """
    from ortools.sat.python.cp_model import CpSolver

    solver = CpSolver()
    # Several workers would race each other, and the first to finish would decide.
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = work
    if seconds is not None:
        solver.parameters.max_time_in_seconds = max(_MIN_SECONDS, seconds)
    # Its own handling of Ctrl-C would end one search and let the program go on.
    solver.parameters.catch_sigint_signal = False
    return solver


def interruptible(
    search: Callable[[], Result], interrupt: Callable[[], object], stop: Stop
) -> Result:
    """Return what a search finds; interrupt it once `stop` says so.

    Python handles a signal in the main thread only, and only while that thread runs Python.  So
    the search runs in another thread, and whatever interrupts the wait for it, Ctrl-C included,
    interrupts the search first.

    Parameters
    ----------
    search
        Runs a solver without holding the interpreter's lock.
    interrupt
        Makes that solver return early; safe to call from another thread.
    """
    with ThreadPoolExecutor(max_workers=1) as pool:
        found = pool.submit(search)
        try:
            while True:
                try:
                    return found.result(timeout=_POLL_SECONDS)
                except TimeoutError:
                    if stop():
                        interrupt()
        except BaseException:
            interrupt()
            raise


def solve(solver: CpSolver, model: CpModel, stop: Stop = never) -> CpSolverStatus:
    """Solve a model by a solver from `cp_solver`; once `stop` says so, with the best found so far.

    Returns
    -------
    CpSolverStatus
        `OPTIMAL` and `INFEASIBLE` are proven; `FEASIBLE` and `UNKNOWN` mean that it ended early.
    """
    return interruptible(lambda: solver.solve(model), solver.stop_search, stop)
