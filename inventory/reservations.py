"""What open batches will take out of the stash."""

from __future__ import annotations

import json
from collections import Counter

from sqlalchemy import select
from sqlalchemy.orm import Session

from inventory.models import Batch, BatchStatus

__all__ = ["reserved"]


def reserved(session: Session) -> Counter[str]:
    """Return how many of each label open batches will take."""
    taken: Counter[str] = Counter()
    for text in session.scalars(select(Batch.plan).where(Batch.status == BatchStatus.OPEN)):
        for layout in json.loads(text)["layouts"]:
            taken[layout["sheet"]["label"]] += layout["copies"]
    return taken
