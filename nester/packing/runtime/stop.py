"""When a search ends: small callables that return true once it should.

A method calls its stop between steps and knows nothing of clocks.  Effort is counted in steps, so
that the same input gives the same plan on any machine; the clock is only a safety stop.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

__all__ = ["Stop", "StopSignal", "after_seconds", "never"]

Stop = Callable[[], bool]


def never() -> bool:
    """Go on until the counted effort is spent."""
    return False


def after_seconds(seconds: float, clock: Callable[[], float] = time.monotonic) -> Stop:
    """Stop once a number of seconds have gone by since this call."""
    end = clock() + seconds
    return lambda: clock() >= end


class StopSignal:
    """A stop that someone else can ask for: at Ctrl-C, or by a request to a web server.

    Any thread may ask for it while another thread searches.

    Parameters
    ----------
    too_late
        Ends the search in any case, such as `after_seconds`.
    """

    def __init__(self, too_late: Stop = never) -> None:
        self._too_late = too_late
        self._asked = threading.Event()

    def ask(self) -> None:
        """End the search soon, with the best it has found; asking again changes nothing."""
        self._asked.set()

    @property
    def is_asked(self) -> bool:
        """Whether someone asked for the stop."""
        return self._asked.is_set()

    def __call__(self) -> bool:
        """Return whether the search should end."""
        return self._asked.is_set() or self._too_late()
