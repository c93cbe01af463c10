"""Deeds, deliveries, nested places, substitutes, lost pieces, supplies, and an order's steps."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

REASONS = (
    "opening", "received", "cut", "kept", "counted", "spoiled", "moved", "used", "undone",
)  # fmt: skip
STATUSES = ("draft", "confirmed", "planned", "cut", "assembled", "delivered", "cancelled")


def upgrade() -> None:
    _papers()
    _places()
    _orders()
    _batches()
    _deeds()
    _stock_and_its_ledger()
    _lost()
    _supplies()
    if op.get_bind().dialect.name == "sqlite":
        # Building a table anew has taken the ledger's triggers with it.
        _append_only_on_sqlite("movement", "id = NEW.id OR undoes_id = NEW.undoes_id")
        _append_only_on_sqlite("deed", "id = NEW.id OR undoes_id = NEW.undoes_id")
        _append_only_on_sqlite("supply_movement", "id = NEW.id")
        _append_only_on_sqlite("order_step", "id = NEW.id")
        _append_only_on_sqlite("stock_count", "deed_id = NEW.deed_id AND stock_id = NEW.stock_id")
    else:
        _append_only_on_postgresql("deed", "supply_movement", "order_step", "stock_count")


def _one_of(name: str, *values: str) -> sa.Enum:
    return sa.Enum(*values, name=name, native_enum=False, create_constraint=True, length=20)


def _is_one_of(column: str, values: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(value) for value in values)})"


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


def _add_text(table: str, column: str, kind: sa.String) -> None:
    """Add a column that is empty where nobody wrote anything yet."""
    with op.batch_alter_table(table) as changed:
        changed.add_column(sa.Column(column, kind, nullable=False, server_default=""))
    with op.batch_alter_table(table) as changed:
        changed.alter_column(column, server_default=None)


def _papers() -> None:
    _add_text("paper", "note", sa.Text())
    op.create_table(
        "substitute",
        sa.Column("paper_id", sa.Integer, nullable=False),
        sa.Column("instead_id", sa.Integer, nullable=False),
        sa.Column("rank", sa.Integer, nullable=False),
        _key("substitute", "paper_id", "instead_id"),
        _unique("substitute", "paper_id", "rank"),
        _check("substitute", "rank", "rank > 0"),
        _check("substitute", "other", "paper_id <> instead_id"),
        _points_to("substitute", "paper_id", "paper"),
        _points_to("substitute", "instead_id", "paper"),
    )


def _places() -> None:
    """Names need to differ within one place only: two shelves may each have a drawer 2."""
    with op.batch_alter_table("place") as table:
        table.drop_constraint(op.f("uq_place_name_key"), type_="unique")
        table.create_unique_constraint(
            op.f("uq_place_parent_id_name_key"), ["parent_id", "name_key"]
        )
    outermost = sa.text("parent_id IS NULL")
    op.create_index(
        op.f("ix_place_outermost"),
        "place",
        ["name_key"],
        unique=True,
        sqlite_where=outermost,
        postgresql_where=outermost,
    )


def _orders() -> None:
    with op.batch_alter_table("orders") as table:
        table.add_column(sa.Column("design_text", sa.Text))
    op.execute("""
        UPDATE orders SET design_text =
            (SELECT text FROM own_design WHERE own_design.name = orders.design)
    """)
    op.create_table(
        "order_step",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        sa.Column("status", _one_of("status", *STATUSES), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        _key("order_step", "id"),
        _points_to("order_step", "order_id", "orders"),
    )
    _index("order_step", "order_id")
    # Orders began as confirmed; when they went on from there was not written down.
    op.execute("""
        INSERT INTO order_step (order_id, status, at)
        SELECT id, 'confirmed', made_at FROM orders ORDER BY id
    """)


def _batches() -> None:
    with op.batch_alter_table("batch") as table:
        table.drop_constraint(op.f("ck_batch_batchstatus"), type_="check")
        table.create_check_constraint(
            op.f("ck_batch_batchstatus"),
            _is_one_of("status", ("draft", "open", "cut", "dropped")),
        )
        table.add_column(sa.Column("mends_id", sa.Integer))
        table.create_foreign_key(op.f("fk_batch_mends_id"), "batch", ["mends_id"], ["id"])


def _deeds() -> None:
    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("supplier", sa.String(200), nullable=False),
        sa.Column("supplier_key", sa.Text, nullable=False),
        sa.Column("number", sa.String(200), nullable=False),
        sa.Column("number_key", sa.Text, nullable=False),
        _key("delivery", "id"),
        _unique("delivery", "supplier_key", "number_key"),
    )
    op.create_table(
        "deed",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("reason", _one_of("reason", *REASONS), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("batch_id", sa.Integer),
        sa.Column("layout", sa.Integer),
        sa.Column("copies", sa.JSON),
        sa.Column("delivery_id", sa.Integer),
        sa.Column("undoes_id", sa.Integer),
        _key("deed", "id"),
        _unique("deed", "undoes_id"),
        _check("deed", "undoes", "(reason = 'undone') = (undoes_id IS NOT NULL)"),
        _check("deed", "layout", "layout IS NULL OR batch_id IS NOT NULL"),
        _points_to("deed", "batch_id", "batch"),
        _points_to("deed", "delivery_id", "delivery"),
        _points_to("deed", "undoes_id", "deed"),
    )
    _index("deed", "batch_id")
    _index("deed", "delivery_id")


def _stock_and_its_ledger() -> None:
    _add_text("stock", "lot", sa.String(200))
    with op.batch_alter_table("movement") as table:
        table.drop_constraint(op.f("ck_movement_reason"), type_="check")
        table.create_check_constraint(op.f("ck_movement_reason"), _is_one_of("reason", REASONS))
        table.add_column(sa.Column("deed_id", sa.Integer))
        table.create_foreign_key(op.f("fk_movement_deed_id"), "deed", ["deed_id"], ["id"])
    _index("movement", "deed_id")
    op.create_table(
        "stock_count",
        sa.Column("deed_id", sa.Integer, nullable=False),
        sa.Column("stock_id", sa.Integer, nullable=False),
        sa.Column("found", sa.Integer, nullable=False),
        sa.Column("booked", sa.Integer, nullable=False),
        _key("stock_count", "deed_id", "stock_id"),
        _check("stock_count", "found", "found >= 0 AND booked >= 0"),
        _points_to("stock_count", "deed_id", "deed"),
        _points_to("stock_count", "stock_id", "stock"),
    )
    _index("stock_count", "stock_id")


def _lost() -> None:
    op.create_table(
        "lost",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("deed_id", sa.Integer, nullable=False),
        sa.Column("batch_id", sa.Integer, nullable=False),
        sa.Column("order_id", sa.Integer, nullable=False),
        sa.Column("part", sa.Integer, nullable=False),
        sa.Column("quantity", sa.Integer, nullable=False),
        sa.Column("mended_id", sa.Integer),
        _key("lost", "id"),
        _check("lost", "quantity", "quantity > 0"),
        _points_to("lost", "deed_id", "deed"),
        _points_to("lost", "batch_id", "batch"),
        _points_to("lost", "order_id", "orders"),
        _points_to("lost", "mended_id", "batch"),
    )
    _index("lost", "deed_id")
    _index("lost", "batch_id")
    _index("lost", "order_id")


def _supplies() -> None:
    op.create_table(
        "supply",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        sa.Column("measure", _one_of("measure", "reel", "count", "amount"), nullable=False),
        sa.Column("unit", sa.String(20), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        _key("supply", "id"),
        _unique("supply", "name_key"),
    )
    op.create_table(
        "supply_item",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("supply_id", sa.Integer, nullable=False),
        sa.Column("label", sa.String(20), nullable=False),
        sa.Column("price", sa.String(40)),
        sa.Column("place_id", sa.Integer),
        sa.Column("lot", sa.String(200), nullable=False),
        _key("supply_item", "id"),
        _unique("supply_item", "label"),
        _points_to("supply_item", "supply_id", "supply"),
        _points_to("supply_item", "place_id", "place"),
    )
    _index("supply_item", "supply_id")
    op.create_table(
        "supply_movement",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("item_id", sa.Integer, nullable=False),
        sa.Column("change", sa.BigInteger, nullable=False),
        sa.Column("deed_id", sa.Integer, nullable=False),
        _key("supply_movement", "id"),
        _check("supply_movement", "change", "change <> 0"),
        _points_to("supply_movement", "item_id", "supply_item"),
        _points_to("supply_movement", "deed_id", "deed"),
    )
    _index("supply_movement", "item_id")
    _index("supply_movement", "deed_id")


def _append_only_on_sqlite(table: str, same: str) -> None:
    """Refuse to change, delete or replace a table's rows, whoever asks (see revision 0001)."""
    for deed in ("UPDATE", "DELETE"):
        op.execute(f"""
            CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table}
            BEGIN
                SELECT RAISE(ABORT, 'the ledger is append-only');
            END
        """)
    op.execute(f"""
        CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
        WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})
        BEGIN
            SELECT RAISE(ABORT, 'the ledger is append-only');
        END
    """)  # noqa: S608


def _append_only_on_postgresql(*tables: str) -> None:
    for table in tables:
        for deed, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
            op.execute(f"""
                CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table}
                FOR EACH {each} EXECUTE FUNCTION refuse_to_change()
            """)
