"""The optimizer.

Its doors are `solve`, `solve_orders` for orders made whole or not at all, and `purchase`.
"""

from nester.packing.orders.whole_orders import (
    OrderDemand,
    OrderSelection,
    Shortfall,
    solve_orders,
    unused_stock,
)
from nester.packing.purchase.purchase import purchase
from nester.packing.runtime.stop import Stop, StopSignal, after_seconds, never
from nester.packing.runtime.worker_processes import usable_cores
from nester.packing.search.solve import Progress, solve

__all__ = [
    "OrderDemand",
    "OrderSelection",
    "Progress",
    "Shortfall",
    "Stop",
    "StopSignal",
    "after_seconds",
    "never",
    "purchase",
    "solve",
    "solve_orders",
    "unused_stock",
    "usable_cores",
]
