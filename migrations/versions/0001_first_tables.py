"""The first tables: the shop, its papers, its stock and ledger, its orders and batches."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    _shop()
    _papers_and_places()
    _orders_and_batches()
    _stock()
    _ledger()
    if op.get_bind().dialect.name == "sqlite":
        _append_only_on_sqlite()
    else:
        _append_only_on_postgresql()


def _one_of(name: str, *values: str) -> sa.Enum:
    return sa.Enum(*values, name=name, native_enum=False, create_constraint=True, length=20)


def _key(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=op.f(f"pk_{table}"))


def _check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _points_to(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}"))


def _index(table: str, *columns: str) -> None:
    op.create_index(op.f(f"ix_{table}_{'_'.join(columns)}"), table, list(columns))


def _shop() -> None:
    op.create_table(
        "shop",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("unit", _one_of("unit", "mm", "cm", "in"), nullable=False),
        sa.Column("currency", sa.String(3), nullable=False),
        sa.Column("smallest_offcut", sa.BigInteger, nullable=False),
        sa.Column("offcut_worth", sa.Integer, nullable=False),
        _key("shop", "id"),
        _check("shop", "single", "id = 1"),
        _check("shop", "smallest_offcut", "smallest_offcut > 0"),
        _check("shop", "offcut_worth", "offcut_worth BETWEEN 0 AND 100"),
    )


def _papers_and_places() -> None:
    pattern = _one_of("pattern", "plain", "patterned", "directional")
    op.create_table(
        "paper",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        sa.Column("colour", sa.String(200), nullable=False),
        sa.Column("swatch", sa.String(7)),
        sa.Column("finish", sa.String(200), nullable=False),
        sa.Column("grammage", sa.Integer, nullable=False),
        sa.Column("pattern", pattern, nullable=False),
        sa.Column("grain", _one_of("grain", "unknown", "long", "short"), nullable=False),
        _key("paper", "id"),
        _unique("paper", "name_key"),
        _check("paper", "grammage", "grammage > 0"),
    )
    op.create_table(
        "place",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        sa.Column("parent_id", sa.Integer),
        _key("place", "id"),
        _unique("place", "name_key"),
        _points_to("place", "parent_id", "place"),
    )


def _orders_and_batches() -> None:
    status = _one_of(
        "status", "draft", "confirmed", "planned", "cut", "assembled", "delivered", "cancelled"
    )
    op.create_table(
        "orders",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("customer", sa.String(200), nullable=False),
        sa.Column("design", sa.String(200), nullable=False),
        sa.Column("sizes", sa.JSON, nullable=False),
        sa.Column("unit", _one_of("unit", "mm", "cm", "in"), nullable=False),
        sa.Column("papers", sa.JSON, nullable=False),
        sa.Column("copies", sa.Integer, nullable=False),
        sa.Column("due", sa.Date, nullable=False),
        sa.Column("status", status, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        _key("orders", "id"),
        _check("orders", "copies", "copies > 0"),
    )
    _index("orders", "due")
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("cuts", _one_of("cuts", "straight", "free"), nullable=False),
        sa.Column("effort", _one_of("effort", "quick", "normal", "thorough"), nullable=False),
        sa.Column("status", _one_of("batchstatus", "open", "cut", "dropped"), nullable=False),
        sa.Column("plan", sa.Text, nullable=False),
        _key("batch", "id"),
    )
    op.create_table(
        "batch_order",
        sa.Column("batch_id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        _key("batch_order", "batch_id", "order_id"),
        _points_to("batch_order", "batch_id", "batch"),
        _points_to("batch_order", "order_id", "orders"),
    )
    _index("batch_order", "order_id")


def _stock() -> None:
    op.create_table(
        "stock",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("kind", _one_of("kind", "sheet", "offcut"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("label", sa.String(20), nullable=False),
        sa.Column("paper_id", sa.Integer, nullable=False),
        sa.Column("width", sa.BigInteger, nullable=False),
        sa.Column("height", sa.BigInteger, nullable=False),
        sa.Column("price", sa.String(40)),
        sa.Column("place_id", sa.Integer),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("parent_id", sa.Integer),
        _key("stock", "id"),
        _unique("stock", "kind", "number"),
        _unique("stock", "label"),
        _check("stock", "size", "width > 0 AND height > 0"),
        _check("stock", "parent", "kind = 'offcut' OR parent_id IS NULL"),
        _points_to("stock", "paper_id", "paper"),
        _points_to("stock", "place_id", "place"),
        _points_to("stock", "parent_id", "stock"),
    )
    _index("stock", "paper_id", "width", "height")


def _ledger() -> None:
    reason = _one_of("reason", "opening", "received", "cut", "kept", "counted", "spoiled", "undone")
    op.create_table(
        "movement",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("stock_id", sa.Integer, nullable=False),
        sa.Column("change", sa.Integer, nullable=False),
        sa.Column("reason", reason, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("batch_id", sa.Integer),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("undoes_id", sa.Integer),
        _key("movement", "id"),
        _unique("movement", "undoes_id"),
        _check("movement", "change", "change <> 0"),
        _check("movement", "undoes", "(reason = 'undone') = (undoes_id IS NOT NULL)"),
        _points_to("movement", "stock_id", "stock"),
        _points_to("movement", "batch_id", "batch"),
        _points_to("movement", "undoes_id", "movement"),
    )
    _index("movement", "at")
    _index("movement", "batch_id")
    _index("movement", "stock_id", "change")


def _append_only_on_sqlite() -> None:
    """Refuse to change the ledger's lines, whoever asks.

    SQLite's INSERT OR REPLACE deletes the row in its way without firing delete triggers (unless
    recursive triggers are on), so a third trigger refuses a line whose place is taken.
    """
    for deed in ("UPDATE", "DELETE"):
        op.execute(f"""
            CREATE TRIGGER movement_no_{deed.lower()} BEFORE {deed} ON movement
            BEGIN
                SELECT RAISE(ABORT, 'the ledger is append-only');
            END
        """)
    op.execute("""
        CREATE TRIGGER movement_no_replace BEFORE INSERT ON movement
        WHEN EXISTS (
            SELECT 1 FROM movement WHERE id = NEW.id OR undoes_id = NEW.undoes_id
        )
        BEGIN
            SELECT RAISE(ABORT, 'the ledger is append-only');
        END
    """)


def _append_only_on_postgresql() -> None:
    """Refuse to change the ledger's lines, whoever asks; an upsert counts as an update there."""
    op.execute("""
        CREATE FUNCTION refuse_to_change() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION 'the ledger is append-only'
                USING ERRCODE = 'integrity_constraint_violation';
        END
        $$
    """)
    for deed, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        op.execute(f"""
            CREATE TRIGGER movement_no_{deed.lower()} BEFORE {deed} ON movement
            FOR EACH {each} EXECUTE FUNCTION refuse_to_change()
        """)
