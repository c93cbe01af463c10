"""Paper geometry and packing: pure computation, no database, no terminal.

What other programs need of it is here: a design's pieces, a cutting problem, its plan, the judge
and the drawing.  Each name is loaded when it is first asked for, so that `import nester` costs
nothing; `designs` and `verify` are separate packages.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nester import designs, verify
    from nester.core.errors import Refusal
    from nester.core.lengths import Length, Unit, cm, inch, mm
    from nester.core.problem import CuttingPlan, Demand, Effort, Problem, StockItem
    from nester.designs.demand import CuttingRules, demands_by_paper
    from nester.drawing.pictures.layout import draw_layout
    from nester.packing import solve

__all__ = [
    "CuttingPlan",
    "CuttingRules",
    "Demand",
    "Effort",
    "Length",
    "Problem",
    "Refusal",
    "StockItem",
    "Unit",
    "cm",
    "demands_by_paper",
    "designs",
    "draw_layout",
    "inch",
    "mm",
    "solve",
    "verify",
]

_HOMES = {
    "CuttingPlan": "nester.core.problem",
    "CuttingRules": "nester.designs.demand",
    "Demand": "nester.core.problem",
    "Effort": "nester.core.problem",
    "Length": "nester.core.lengths",
    "Problem": "nester.core.problem",
    "Refusal": "nester.core.errors",
    "StockItem": "nester.core.problem",
    "Unit": "nester.core.lengths",
    "cm": "nester.core.lengths",
    "demands_by_paper": "nester.designs.demand",
    "draw_layout": "nester.drawing.pictures.layout",
    "inch": "nester.core.lengths",
    "mm": "nester.core.lengths",
    "solve": "nester.packing",
}


def __getattr__(name: str) -> Any:
    """Load what is asked for (PEP 562)."""
    if name in ("designs", "verify"):
        return import_module(f"nester.{name}")
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'nester' has no attribute '{name}'")


def __dir__() -> list[str]:
    return __all__
