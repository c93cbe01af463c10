"""What all tables of the shop's book share: the base class, the column types, names and numbers.

Lengths are whole fine units (`nester.core.lengths`), money is a decimal kept as text, moments are
in UTC.  What the tables look like in a file is written down a second time, step by step, in
`migrations/`; a test holds the two together.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from sqlalchemy import JSON, DateTime, Enum, MetaData, String, Text, func, select
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, validates
from sqlalchemy.types import TypeDecorator, TypeEngine

from inventory.core.text import LONGEST_NAME, fold
from inventory.database.tables.enums import (
    BatchStatus,
    ConsumableUnit,
    Grain,
    GrainAxis,
    Measure,
    OrderStatus,
    Pattern,
    Reason,
    StockKind,
)
from nester.core.lengths import Unit
from nester.core.problem import Cuts, Effort

if TYPE_CHECKING:
    from sqlalchemy.engine import Dialect

__all__ = ["TRANSACTION", "Base", "Money", "Named", "UtcDateTime", "next_number"]


TRANSACTION = "deed.id"
"""The key of a transaction; its table keeps the name under which shops have stored it."""

_WRITTEN_MONEY = re.compile(r"-?[0-9]{1,40}(\.[0-9]{1,40})?")


class Money(TypeDecorator[Decimal]):
    """A decimal kept as text, so that no database rounds it; equal amounts are equal text."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        """Write the amount plainly, without zeros that say nothing."""
        if value is None:
            return None
        if not isinstance(value, Decimal) or not value.is_finite():
            raise TypeError(f"money is a finite Decimal, not {value!r}")
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        """Read it back; what `process_bind_param` can't have written is refused."""
        if value is None:
            return None
        if not _WRITTEN_MONEY.fullmatch(value):
            raise ValueError(f"{value[:40]!r} is no amount of money")
        return Decimal(value)


class UtcDateTime(TypeDecorator[datetime]):
    """A moment in UTC; SQLite keeps no time zone, so it is taken off and put back here."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn any aware moment into UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise TypeError(f"a moment needs a time zone: {value!r}")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Say that it is UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _enum_column(kind: type[StrEnum], name: str) -> Enum:
    """Return a text column that holds the values of `kind` and nothing else.

    The constraint has its own name, so that a class can be renamed without a migration.
    """
    return Enum(
        kind,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=20,
        values_callable=lambda members: [member.value for member in members],
    )


_COLUMN_TYPES: dict[Any, TypeEngine[Any]] = {
    Decimal: Money(),
    datetime: UtcDateTime(),
    dict[str, str]: JSON(),
    list[int]: JSON(none_as_null=True),
    **{
        kind: _enum_column(kind, name)
        for kind, name in {
            Pattern: "pattern",
            Grain: "grain",
            GrainAxis: "fibres",
            StockKind: "kind",
            Reason: "reason",
            OrderStatus: "status",
            BatchStatus: "batchstatus",
            Measure: "measure",
            ConsumableUnit: "per",
            Effort: "effort",
            Cuts: "cuts",
            Unit: "unit",
        }.items()
    },
}


def next_number(context: Any) -> int:
    """Return the number after the last one; only one transaction writes at a time.

    A server's own counter would leave a hole where a transaction is rolled back.
    """
    numbers = context.compiled.statement.table.c.id
    return int(context.connection.scalar(select(func.coalesce(func.max(numbers), 0)))) + 1


class Base(DeclarativeBase):
    """What all tables share; every constraint has a name, so that a migration can change it."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = _COLUMN_TYPES


class Named:
    """A row with a name that no other has, however it is spelt (see `inventory.core.text.fold`)."""

    name: Mapped[str] = mapped_column(String(LONGEST_NAME))
    name_key: Mapped[str] = mapped_column(Text, unique=True)

    @validates("name")
    def _keep_key(self, _: str, name: str) -> str:
        self.name_key = fold(name)
        return name
