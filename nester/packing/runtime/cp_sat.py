"""Solvers, run so that they heed a stopping rule, and Ctrl-C, while they work."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar

from nester.packing.runtime.stop import Stop, never

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, CpSolverStatus

__all__ = ["interruptible", "solve"]

_POLL_SECONDS = 0.05
"""Seconds between two looks at the stopping rule."""

Result = TypeVar("Result")


def interruptible(
    search: Callable[[], Result], interrupt: Callable[[], object], stop: Stop
) -> Result:
    """Return what a search finds; interrupt it once `stop` says so.

    A solver's own handling of Ctrl-C would end one search and let the program go on; and Python
    heeds a signal in the main thread only while that runs Python.  So the search runs in another
    thread, and whatever interrupts the wait for it ends it first.
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
    """Solve a model by CP-SAT; stop with the best found so far once `stop` says so."""
    solver.parameters.catch_sigint_signal = False
    return interruptible(lambda: solver.solve(model), solver.stop_search, stop)
