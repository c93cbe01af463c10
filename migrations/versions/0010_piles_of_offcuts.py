"""Equal offcuts of a batch are one pile, whose label says the batch and the number of its kind."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Numbers were unique among offcuts; now they are among those of a batch, and those of none.
    with op.batch_alter_table("stock") as table:
        table.add_column(sa.Column("batch_id", sa.Integer))
        table.create_foreign_key(op.f("fk_stock_batch_id"), "batch", ["batch_id"], ["id"])
        table.drop_constraint(op.f("uq_stock_kind_number"), type_="unique")
        table.create_unique_constraint(
            op.f("uq_stock_kind_batch_id_number"), ["kind", "batch_id", "number"]
        )
        table.create_check_constraint(op.f("ck_stock_batch"), "kind = 'offcut' OR batch_id IS NULL")
