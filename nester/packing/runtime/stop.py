"""When a search ends: small callables that say yes once it should.

A method asks its rule between steps and knows nothing of clocks.  Effort is counted in steps, so
that the same input gives the same plan on any machine; the clock is only a safety stop.
"""

from __future__ import annotations

import time
from collections.abc import Callable

__all__ = ["Stop", "after_seconds", "never"]

Stop = Callable[[], bool]


def never() -> bool:
    """Go on until the counted effort is spent."""
    return False


def after_seconds(seconds: float, clock: Callable[[], float] = time.monotonic) -> Stop:
    """Stop once so many seconds have gone by since this call."""
    end = clock() + seconds
    return lambda: clock() >= end
