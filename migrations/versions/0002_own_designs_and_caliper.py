"""Designs of the maker's own, and how thick a paper is."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("paper") as table:
        table.add_column(sa.Column("caliper", sa.BigInteger))
        table.create_check_constraint(op.f("ck_paper_caliper"), "caliper > 0")
    op.create_table(
        "own_design",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_own_design")),
        sa.UniqueConstraint("name_key", name=op.f("uq_own_design_name_key")),
    )
