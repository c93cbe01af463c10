"""How long layouts took to cut, as the shop reports it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "cutting_time",
        sa.Column("deed_id", sa.Integer, nullable=False),
        sa.Column("report_id", sa.Integer, nullable=False),
        sa.Column("seconds", sa.Integer, nullable=False),
        sa.Column("reckoned", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("deed_id", name=op.f("pk_cutting_time")),
        sa.CheckConstraint("seconds >= 0 AND reckoned >= 0", name=op.f("ck_cutting_time_times")),
        sa.ForeignKeyConstraint(["deed_id"], ["deed.id"], name=op.f("fk_cutting_time_deed_id")),
        sa.ForeignKeyConstraint(["report_id"], ["deed.id"], name=op.f("fk_cutting_time_report_id")),
    )
    op.create_index(op.f("ix_cutting_time_report_id"), "cutting_time", ["report_id"])
    if op.get_bind().dialect.name == "sqlite":
        _append_only_on_sqlite()
    else:
        _append_only_on_postgresql()


def _append_only_on_sqlite() -> None:
    """Refuse to change, delete or replace a row, whoever asks (see revision 0001)."""
    for deed in ("UPDATE", "DELETE"):
        op.execute(f"""
            CREATE TRIGGER cutting_time_no_{deed.lower()} BEFORE {deed} ON cutting_time
            BEGIN
                SELECT RAISE(ABORT, 'the ledger is append-only');
            END
        """)
    op.execute("""
        CREATE TRIGGER cutting_time_no_replace BEFORE INSERT ON cutting_time
        WHEN EXISTS (SELECT 1 FROM cutting_time WHERE deed_id = NEW.deed_id)
        BEGIN
            SELECT RAISE(ABORT, 'the ledger is append-only');
        END
    """)


def _append_only_on_postgresql() -> None:
    for deed, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        op.execute(f"""
            CREATE TRIGGER cutting_time_no_{deed.lower()} BEFORE {deed} ON cutting_time
            FOR EACH {each} EXECUTE FUNCTION refuse_to_change()
        """)
