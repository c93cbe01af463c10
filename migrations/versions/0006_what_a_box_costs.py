"""What the shop reckons with: rates, prices of consumables and prints, minutes, postage."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "cost_rates",
        sa.Column("id", sa.Integer, nullable=False),
        _money("hour", nullable=True),
        _money("piece_minutes", nullable=True),
        _money("packaging"),
        _money("packaging_grams"),
        _money("wrapping"),
        _money("wrapping_grams"),
        _money("fee"),
        _money("fee_fixed"),
        _money("margin"),
        _money("print_area", nullable=True),
        sa.Column("endings", sa.Text, nullable=False),
        sa.Column("quote_days", sa.Integer, nullable=False),
        _key("cost_rates"),
        _check("cost_rates", "single", "id = 1"),
        _check("cost_rates", "quote_days", "quote_days BETWEEN 1 AND 3650"),
    )
    op.create_table(
        "consumable_rate",
        *_named(),
        sa.Column("per", sa.String(20), nullable=False),
        sa.Column("supply_id", sa.Integer),
        _money("price", nullable=True),
        sa.Column("spread", sa.BigInteger),
        _money("grams", nullable=True),
        _key("consumable_rate"),
        _unique("consumable_rate", "name_key"),
        sa.ForeignKeyConstraint(
            ["supply_id"], ["supply.id"], name=op.f("fk_consumable_rate_supply_id")
        ),
        _check("consumable_rate", "per", "per IN ('length', 'area', 'count')"),
        _check("consumable_rate", "one_price", "supply_id IS NULL OR price IS NULL"),
        _check(
            "consumable_rate",
            "spread",
            "(spread IS NOT NULL) = (per = 'area' AND supply_id IS NOT NULL)",
        ),
        _check("consumable_rate", "some", "spread > 0"),
    )
    op.create_table(
        "print_price",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("width", sa.BigInteger, nullable=False),
        sa.Column("height", sa.BigInteger, nullable=False),
        _money("price"),
        _key("print_price"),
        _unique("print_price", "width", "height"),
        _check("print_price", "size", "width > 0 AND height > 0"),
    )
    op.create_table(
        "assembly_time",
        *_named(),
        _money("minutes"),
        _key("assembly_time"),
        _unique("assembly_time", "name_key"),
    )
    op.create_table(
        "postage_step",
        sa.Column("id", sa.Integer, nullable=False),
        _money("grams"),
        _money("price"),
        _key("postage_step"),
        _unique("postage_step", "grams"),
    )


def _money(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.String(40), nullable=nullable)


def _named() -> tuple[sa.Column, ...]:
    return (
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
    )


def _key(table: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}"))


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))
