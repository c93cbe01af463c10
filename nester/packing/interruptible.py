"""CP-SAT, run so that Ctrl-C is heeded while it works."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, CpSolverStatus

__all__ = ["run"]


def run(solver: CpSolver, model: CpModel) -> CpSolverStatus:
    """Solve a model; whatever interrupts the wait ends the search first.

    The solver's own handling of Ctrl-C would end one search and let the program go on; and
    Python heeds a signal in the main thread only while that runs Python.  So the search runs in
    another thread.
    """
    solver.parameters.catch_sigint_signal = False
    with ThreadPoolExecutor(max_workers=1) as pool:
        search = pool.submit(solver.solve, model)
        try:
            return search.result()
        except BaseException:
            solver.stop_search()
            raise
