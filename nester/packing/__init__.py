"""The optimizer.

Its doors are `solve`, `solve_orders` for orders made whole or not at all, and `purchase`.
"""

from nester.packing.crew import cores
from nester.packing.purchase import purchase
from nester.packing.solve import Progress, solve
from nester.packing.stop import Stop, after_seconds, never
from nester.packing.whole_orders import Claim, Lack, Verdict, left_over, solve_orders

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
