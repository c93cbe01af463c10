"""Orders, papers and plans that change: what changed them, and the spare pieces that come of it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

REASONS = (
    "opening", "received", "cut", "kept", "counted", "spoiled", "bruised", "grain", "moved",
    "used", "ordered", "closed", "changed", "replanned", "spare", "undone",
)  # fmt: skip
HISTORIES = ("spare_piece_movement", "plan_change", "order_change", "paper_change")


def upgrade() -> None:
    _reasons()
    _orders()
    _lost()
    _spare_pieces()
    _changes()
    if op.get_bind().dialect.name == "sqlite":
        # Building a table anew has taken the ledger's triggers with it.
        _append_only_on_sqlite("movement", "id = NEW.id OR undoes_id = NEW.undoes_id")
        _append_only_on_sqlite("deed", "id = NEW.id OR undoes_id = NEW.undoes_id")
        for table in HISTORIES:
            _append_only_on_sqlite(table, "id = NEW.id")
    else:
        _append_only_on_postgresql(*HISTORIES)


def _is_one_of(column: str, values: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(value) for value in values)})"


def _key(table: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}"))


def _check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))


def _points_to(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}"))


def _indexes(table: str, *columns: str) -> None:
    for column in columns:
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def _whole(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.Integer, nullable=nullable)


def _text(name: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text, nullable=nullable)


def _reasons() -> None:
    for name in ("movement", "deed"):
        with op.batch_alter_table(name) as table:
            table.drop_constraint(op.f(f"ck_{name}_reason"), type_="check")
            table.create_check_constraint(op.f(f"ck_{name}_reason"), _is_one_of("reason", REASONS))


def _orders() -> None:
    with op.batch_alter_table("orders") as table:
        table.add_column(sa.Column("note", sa.Text, nullable=False, server_default=""))
        table.add_column(sa.Column("price", sa.String(40)))
    with op.batch_alter_table("orders") as table:
        table.alter_column("note", server_default=None)


def _lost() -> None:
    with op.batch_alter_table("lost") as table:
        for column in ("settled_id", "waived_id"):
            table.add_column(_whole(column, nullable=True))
            table.create_foreign_key(op.f(f"fk_lost_{column}"), "deed", [column], ["id"])


def _spare_pieces() -> None:
    op.create_table(
        "spare_piece",
        _whole("id"),
        sa.Column("label", sa.String(20), nullable=False),
        _whole("paper_id"),
        sa.Column("name", sa.String(200), nullable=False),
        _text("piece"),
        sa.Column("width", sa.BigInteger, nullable=False),
        sa.Column("height", sa.BigInteger, nullable=False),
        _whole("place_id", nullable=True),
        _key("spare_piece"),
        _check("spare_piece", "size", "width > 0 AND height > 0"),
        sa.UniqueConstraint("label", name=op.f("uq_spare_piece_label")),
        _points_to("spare_piece", "paper_id", "paper"),
        _points_to("spare_piece", "place_id", "place"),
    )
    _indexes("spare_piece", "paper_id")
    op.create_table(
        "spare_piece_movement",
        _whole("id"),
        _whole("deed_id"),
        _whole("spare_id"),
        _whole("change"),
        _whole("order_id", nullable=True),
        _key("spare_piece_movement"),
        _check("spare_piece_movement", "change", "change <> 0"),
        _points_to("spare_piece_movement", "deed_id", "deed"),
        _points_to("spare_piece_movement", "spare_id", "spare_piece"),
        _points_to("spare_piece_movement", "order_id", "orders"),
    )
    _indexes("spare_piece_movement", "deed_id", "spare_id", "order_id")


def _changes() -> None:
    op.create_table(
        "plan_change",
        _whole("id"),
        _whole("deed_id"),
        _whole("batch_id"),
        _text("before", nullable=True),
        _key("plan_change"),
        _points_to("plan_change", "deed_id", "deed"),
        _points_to("plan_change", "batch_id", "batch"),
    )
    _indexes("plan_change", "deed_id", "batch_id")
    op.create_table(
        "order_change",
        _whole("id"),
        _whole("deed_id"),
        _whole("order_id"),
        sa.Column("before", sa.JSON, nullable=True),
        sa.Column("after", sa.JSON, nullable=False),
        sa.Column("by", sa.String(200), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        _key("order_change"),
        _points_to("order_change", "deed_id", "deed"),
        _points_to("order_change", "order_id", "orders"),
    )
    _indexes("order_change", "deed_id", "order_id")
    op.create_table(
        "paper_change",
        _whole("id"),
        _whole("deed_id"),
        _whole("paper_id"),
        sa.Column("before", sa.JSON, nullable=False),
        sa.Column("after", sa.JSON, nullable=False),
        sa.Column("by", sa.String(200), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        _key("paper_change"),
        _points_to("paper_change", "deed_id", "deed"),
        _points_to("paper_change", "paper_id", "paper"),
    )
    _indexes("paper_change", "deed_id", "paper_id")


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
