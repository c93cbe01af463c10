"""Which tests are slow: `pytest -m "not slow"` leaves them out of a developer's quick loop."""

from __future__ import annotations

from pathlib import Path

import pytest

_SLOW_FOLDERS = ("e2e", "integration", "properties")
"""Tests here start processes, open shops or try many cases: a second or more each, together."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark as slow what stands in a slow folder; single tests elsewhere are marked in place."""
    tests = Path(__file__).parent
    for item in items:
        if item.path.relative_to(tests).parts[0] in _SLOW_FOLDERS:
            item.add_marker(pytest.mark.slow)
