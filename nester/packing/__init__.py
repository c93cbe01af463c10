"""The optimizer.

Its doors are `solve`, `solve_orders` for orders made whole or not at all, and `purchase`.
"""

from nester.packing.orders.whole_orders import Claim, Lack, Verdict, left_over, solve_orders
from nester.packing.purchase.purchase import purchase
from nester.packing.runtime.stop import Stop, after_seconds, never
from nester.packing.runtime.worker_processes import cores
from nester.packing.search.solve import Progress, solve

__all__ = [
    "Claim",
    "Lack",
    "Progress",
    "Stop",
    "Verdict",
    "after_seconds",
    "cores",
    "left_over",
    "never",
    "purchase",
    "solve",
    "solve_orders",
]
