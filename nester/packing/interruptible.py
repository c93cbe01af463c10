"""CP-SAT, run so that it heeds a stopping rule, and Ctrl-C, while it works."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from nester.packing.stop import Stop, never

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, CpSolverStatus

__all__ = ["run"]

_GLANCE = 0.05
"""Seconds between two looks at the stopping rule."""


def run(solver: CpSolver, model: CpModel, stop: Stop = never) -> CpSolverStatus:
    """Solve a model; stop with the best found so far once `stop` says so.

    The solver's own handling of Ctrl-C would end one search and let the program go on; and
    Python heeds a signal in the main thread only while that runs Python.  So the search runs in
    another thread, and whatever interrupts the wait for it ends it first.
    """
    solver.parameters.catch_sigint_signal = False
    with ThreadPoolExecutor(max_workers=1) as pool:
        search = pool.submit(solver.solve, model)
        try:
            while True:
                try:
                    return search.result(timeout=_GLANCE)
                except TimeoutError:
                    if stop():
                        solver.stop_search()
        except BaseException:
            solver.stop_search()
            raise
