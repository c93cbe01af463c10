"""Entries of the history in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from inventory.database.tables.enums import Reason
    from inventory.database.tables.ledger import Transaction

__all__ = ["reason_words", "transaction_words"]

_WORDS = {"bruised": "damaged"}
"""Reasons that makers read otherwise than they are stored."""


def reason_words(reason: Reason) -> str:
    """Say why a quantity changed."""
    return _WORDS.get(reason, str(reason))


def transaction_words(transaction: Transaction) -> str:
    """Say what an entry is: ``entry 12, cut, batch 1, layout 3, 2 copies``."""
    words = [f"entry {transaction.id}", reason_words(transaction.reason)]
    if transaction.batch_id is not None:
        words.append(f"batch {transaction.batch_id}")
    if transaction.layout is not None:
        count = len(transaction.copies or ())
        copies = f"{count} cop{'y' if count == 1 else 'ies'}"
        words.append(f"layout {transaction.layout}, {copies}")
    if transaction.note:
        words.append(transaction.note)
    return ", ".join(words)
