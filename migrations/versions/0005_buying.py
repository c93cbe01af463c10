"""Suppliers, their prices, exchange rates, restock levels, purchases and what came of them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

REASONS = (
    "opening", "received", "cut", "kept", "counted", "spoiled", "bruised", "grain", "moved",
    "used", "ordered", "closed", "undone",
)  # fmt: skip
HISTORIES = (
    "exchange_rate", "price_list", "price", "purchase", "purchase_line", "purchase_receipt",
)  # fmt: skip


def upgrade() -> None:
    _shop()
    _reasons()
    _suppliers()
    _prices()
    _levels()
    _purchases()
    if op.get_bind().dialect.name == "sqlite":
        # Building a table anew has taken the ledger's triggers with it.
        _append_only_on_sqlite("movement", "id = NEW.id OR undoes_id = NEW.undoes_id")
        _append_only_on_sqlite("deed", "id = NEW.id OR undoes_id = NEW.undoes_id")
        for table in HISTORIES:
            same = " OR deed_id = NEW.deed_id" if table == "purchase" else ""
            _append_only_on_sqlite(table, f"id = NEW.id{same}")
        _append_only_on_sqlite("purchase_end", "deed_id = NEW.deed_id")
    else:
        _append_only_on_postgresql(*HISTORIES, "purchase_end")


def _is_one_of(column: str, values: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(value) for value in values)})"


def _key(table: str, column: str = "id") -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(column, name=op.f(f"pk_{table}"))


def _check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _points_to(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}"))


def _indexes(table: str, *columns: str) -> None:
    for column in columns:
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def _whole(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.Integer, nullable=nullable)


def _length(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.BigInteger, nullable=nullable)


def _money(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.String(40), nullable=nullable)


def _currency() -> sa.Column:
    return sa.Column("currency", sa.String(3), nullable=False)


def _day(name: str) -> sa.Column:
    return sa.Column(name, sa.Date, nullable=False)


def _moment(name: str) -> sa.Column:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=False)


def _shop() -> None:
    with op.batch_alter_table("shop") as table:
        table.add_column(
            sa.Column("making_days", sa.Integer, nullable=False, server_default=sa.text("2"))
        )
        table.create_check_constraint(op.f("ck_shop_making_days"), "making_days BETWEEN 0 AND 365")
    with op.batch_alter_table("shop") as table:
        table.alter_column("making_days", server_default=None)


def _reasons() -> None:
    for name in ("movement", "deed"):
        with op.batch_alter_table(name) as table:
            table.drop_constraint(op.f(f"ck_{name}_reason"), type_="check")
            table.create_check_constraint(op.f(f"ck_{name}_reason"), _is_one_of("reason", REASONS))


def _suppliers() -> None:
    op.create_table(
        "supplier",
        _whole("id"),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        _currency(),
        _money("shipping"),
        _money("free_from", nullable=True),
        _money("least_order"),
        _whole("days"),
        sa.Column("note", sa.Text, nullable=False),
        _key("supplier"),
        _unique("supplier", "name_key"),
        _check("supplier", "days", "days BETWEEN 0 AND 365"),
    )
    op.create_table(
        "exchange_rate",
        _whole("id"),
        _currency(),
        _money("rate"),
        _day("day"),
        _moment("set_at"),
        _key("exchange_rate"),
    )
    _indexes("exchange_rate", "currency")


def _prices() -> None:
    op.create_table(
        "price_list",
        _whole("id"),
        _whole("supplier_id"),
        _day("day"),
        _moment("added_at"),
        sa.Column("source", sa.Text, nullable=False),
        _key("price_list"),
        _points_to("price_list", "supplier_id", "supplier"),
    )
    _indexes("price_list", "supplier_id")
    op.create_table(
        "price",
        _whole("id"),
        _whole("list_id"),
        _whole("paper_id"),
        _length("width"),
        _length("height"),
        _whole("pack"),
        _money("amount", nullable=True),
        _currency(),
        _whole("least"),
        _whole("days", nullable=True),
        _key("price"),
        _check("price", "size", "width > 0 AND height > 0"),
        _check("price", "pack", "pack > 0"),
        _check("price", "least", "least > 0"),
        _check("price", "days", "days BETWEEN 0 AND 365"),
        _points_to("price", "list_id", "price_list"),
        _points_to("price", "paper_id", "paper"),
    )
    _indexes("price", "list_id", "paper_id")


def _levels() -> None:
    op.create_table(
        "restock_level",
        _whole("id"),
        _whole("paper_id"),
        _length("width", nullable=True),
        _length("height", nullable=True),
        _whole("reorder"),
        _whole("target"),
        _moment("set_at"),
        _key("restock_level"),
        _unique("restock_level", "paper_id", "width", "height"),
        _check("restock_level", "both", "(width IS NULL) = (height IS NULL)"),
        _check("restock_level", "size", "width > 0 AND height > 0"),
        _check("restock_level", "sheets", "reorder > 0 AND target >= reorder"),
        _points_to("restock_level", "paper_id", "paper"),
    )
    any_size = sa.text("width IS NULL")
    op.create_index(
        op.f("ix_restock_level_any_size"),
        "restock_level",
        ["paper_id"],
        unique=True,
        sqlite_where=any_size,
        postgresql_where=any_size,
    )


def _purchases() -> None:
    op.create_table(
        "purchase",
        _whole("id"),
        _whole("deed_id"),
        _whole("supplier_id"),
        _day("ordered"),
        _day("expected"),
        sa.Column("number", sa.String(200), nullable=False),
        _currency(),
        _money("shipping"),
        _key("purchase"),
        _unique("purchase", "deed_id"),
        _points_to("purchase", "deed_id", "deed"),
        _points_to("purchase", "supplier_id", "supplier"),
    )
    _indexes("purchase", "supplier_id")
    op.create_table(
        "purchase_line",
        _whole("id"),
        _whole("purchase_id"),
        _whole("paper_id"),
        _length("width"),
        _length("height"),
        _whole("pack"),
        _whole("packs"),
        _money("amount"),
        _key("purchase_line"),
        _check("purchase_line", "size", "width > 0 AND height > 0"),
        _check("purchase_line", "packs", "pack > 0 AND packs > 0"),
        _points_to("purchase_line", "purchase_id", "purchase"),
        _points_to("purchase_line", "paper_id", "paper"),
    )
    _indexes("purchase_line", "purchase_id", "paper_id")
    op.create_table(
        "purchase_receipt",
        _whole("id"),
        _whole("deed_id"),
        _whole("line_id"),
        _whole("stock_id"),
        _whole("packs"),
        _money("amount"),
        _key("purchase_receipt"),
        _check("purchase_receipt", "packs", "packs > 0"),
        _points_to("purchase_receipt", "deed_id", "deed"),
        _points_to("purchase_receipt", "line_id", "purchase_line"),
        _points_to("purchase_receipt", "stock_id", "stock"),
    )
    _indexes("purchase_receipt", "deed_id", "line_id", "stock_id")
    op.create_table(
        "purchase_end",
        _whole("deed_id"),
        _whole("purchase_id"),
        _key("purchase_end", "deed_id"),
        _points_to("purchase_end", "deed_id", "deed"),
        _points_to("purchase_end", "purchase_id", "purchase"),
    )
    _indexes("purchase_end", "purchase_id")


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
