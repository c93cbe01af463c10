"""Names are the same if they look the same: characters that nobody sees count no more.

Where two rows of a shop differ in nothing else, the second stays as it is, under its old key.
"""

from __future__ import annotations

import re
import unicodedata

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

_NAMES = {
    "paper": ("name",),
    "place": ("name",),
    "supply": ("name",),
    "supplier": ("name",),
    "own_design": ("name",),
    "consumable_rate": ("name",),
    "assembly_time": ("name",),
    "delivery": ("supplier", "number"),
}
"""Together they are unique in their table; of places, in the place that they stand in."""
_UNSEEN = re.compile(
    "[\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u202a-\u202e\u2060-\u206f\u3164"
    "\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufff8\U0001bca0-\U0001bca3\U0001d173-\U0001d17a"
    "\U000e0000-\U000e0fff]"
)


def upgrade() -> None:
    connection = op.get_bind()
    for name, texts in _NAMES.items():
        keys, inside = [f"{text}_key" for text in texts], ["parent_id"] * (name == "place")
        table = sa.table(name, *map(sa.column, ["id", *texts, *keys, *inside]))
        rows = connection.execute(sa.select(table).order_by(table.c.id)).mappings().all()
        taken = {tuple(row[column] for column in (*keys, *inside)) for row in rows}
        for row in rows:
            folded = {key: _fold(row[text]) for key, text in zip(keys, texts, strict=True)}
            whole = (*folded.values(), *(row[column] for column in inside))
            if any(_UNSEEN.search(row[text]) for text in texts) and whole not in taken:
                taken.add(whole)
                connection.execute(sa.update(table).where(table.c.id == row["id"]).values(folded))


def _fold(text: str) -> str:
    """As names are folded from this revision on."""
    return " ".join(unicodedata.normalize("NFKC", _UNSEEN.sub("", text)).casefold().split())
