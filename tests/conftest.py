"""Which tests are slow: `pytest -m "not slow"` leaves them out of a developer's quick loop."""

from __future__ import annotations

from pathlib import Path

import pytest

_SLOW = (
    "e2e",
    "integration",
    "properties",
    "published/test_cutting_instances.py",
    "unit/inventory/documents/plan/test_document_set.py",
    "unit/inventory/documents/test_documents.py",
    "unit/inventory/test_what_is_loaded.py",
    "unit/nester/drawing/pictures/test_chart.py",
    "unit/nester/drawing/templates/test_pdf.py",
    "unit/nester/packing/orders",
    "unit/nester/packing/patterns/test_interlocking.py",
    "unit/nester/packing/purchase",
    "unit/nester/packing/search",
    "unit/nester/packing/test_extremes.py",
    "unit/nester/studies",
)
"""Tests here start processes, open shops, try many cases, make PDF files or plan
whole weeks."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what stands in a slow folder or file."""
    slow = [Path(__file__).parent / path for path in _SLOW]
    for item in items:
        if any(item.path.is_relative_to(path) for path in slow):
            item.add_marker(pytest.mark.slow)
