"""A gap, a trimmer, the grain; margins of sheets, bruises, and how an offcut's fibres lie."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

REASONS = (
    "opening", "received", "cut", "kept", "counted", "spoiled", "bruised", "grain", "moved",
    "used", "undone",
)  # fmt: skip
FIBRES = ("unknown", "width", "height")
EDGES = ("left", "top", "right", "bottom")


def upgrade() -> None:
    _shop()
    _stock()
    _reasons()
    _bruises()
    _grains()
    if op.get_bind().dialect.name == "sqlite":
        # Building a table anew has taken the ledger's triggers with it.
        _append_only_on_sqlite("movement", "id = NEW.id OR undoes_id = NEW.undoes_id")
        _append_only_on_sqlite("deed", "id = NEW.id OR undoes_id = NEW.undoes_id")
        _append_only_on_sqlite("bruise", "id = NEW.id")
        _append_only_on_sqlite("grain_told", "id = NEW.id")
    else:
        _append_only_on_postgresql("bruise", "grain_told")


def _is_one_of(column: str, values: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(value) for value in values)})"


def _key(table: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}"))


def _points_to(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}"))


def _add_filled(table: str, **columns: tuple[sa.types.TypeEngine, str]) -> None:
    """Add columns that hold the same in every row that is there already."""
    with op.batch_alter_table(table) as changed:
        for column, (kind, value) in columns.items():
            changed.add_column(sa.Column(column, kind, nullable=False, server_default=value))
    with op.batch_alter_table(table) as changed:
        for column in columns:
            changed.alter_column(column, server_default=None)


def _shop() -> None:
    whole = sa.BigInteger()
    _add_filled("shop", gap=(whole, "0"), smallest_strip=(whole, "0"))
    _add_filled("shop", follow_grain=(sa.Boolean(), sa.true()))
    with op.batch_alter_table("shop") as table:
        table.add_column(sa.Column("longest_cut", sa.BigInteger))
        table.add_column(sa.Column("stages", sa.Integer))
        table.create_check_constraint(op.f("ck_shop_gap"), "gap >= 0")
        table.create_check_constraint(op.f("ck_shop_longest_cut"), "longest_cut > 0")
        table.create_check_constraint(op.f("ck_shop_smallest_strip"), "smallest_strip >= 0")
        table.create_check_constraint(op.f("ck_shop_stages"), "stages > 0")


def _stock() -> None:
    margins = {f"margin_{edge}": (sa.BigInteger(), "0") for edge in EDGES}
    _add_filled("stock", **margins, grain=(sa.String(20), "unknown"))
    with op.batch_alter_table("stock") as table:
        table.create_check_constraint(op.f("ck_stock_fibres"), _is_one_of("grain", FIBRES))
        table.create_check_constraint(
            op.f("ck_stock_sheet_grain"), "kind = 'offcut' OR grain = 'unknown'"
        )
        table.create_check_constraint(
            op.f("ck_stock_margins"),
            "margin_left >= 0 AND margin_top >= 0 AND margin_right >= 0 AND margin_bottom >= 0",
        )
        table.create_check_constraint(
            op.f("ck_stock_usable"),
            "margin_left + margin_right < width AND margin_top + margin_bottom < height",
        )


def _reasons() -> None:
    for name in ("movement", "deed"):
        with op.batch_alter_table(name) as table:
            table.drop_constraint(op.f(f"ck_{name}_reason"), type_="check")
            table.create_check_constraint(op.f(f"ck_{name}_reason"), _is_one_of("reason", REASONS))


def _bruises() -> None:
    op.create_table(
        "bruise",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("deed_id", sa.Integer, nullable=False),
        sa.Column("stock_id", sa.Integer, nullable=False),
        sa.Column("x", sa.BigInteger, nullable=False),
        sa.Column("y", sa.BigInteger, nullable=False),
        sa.Column("width", sa.BigInteger, nullable=False),
        sa.Column("height", sa.BigInteger, nullable=False),
        _key("bruise"),
        sa.CheckConstraint(
            "x >= 0 AND y >= 0 AND width > 0 AND height > 0", name=op.f("ck_bruise_size")
        ),
        _points_to("bruise", "deed_id", "deed"),
        _points_to("bruise", "stock_id", "stock"),
    )
    _indexes("bruise")


def _grains() -> None:
    op.create_table(
        "grain_told",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("deed_id", sa.Integer, nullable=False),
        sa.Column("stock_id", sa.Integer, nullable=False),
        sa.Column("grain", sa.String(20), nullable=False),
        _key("grain_told"),
        sa.CheckConstraint(_is_one_of("grain", FIBRES), name=op.f("ck_grain_told_fibres")),
        _points_to("grain_told", "deed_id", "deed"),
        _points_to("grain_told", "stock_id", "stock"),
    )
    _indexes("grain_told")


def _indexes(table: str) -> None:
    for column in ("deed_id", "stock_id"):
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


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
