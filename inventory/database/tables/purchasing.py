"""The tables of buying: who sells what, what was ordered, what came of it, levels to hold."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    String,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship

from inventory.core.text import LONGEST_NAME
from inventory.database.tables.base import TRANSACTION, Base, Named
from inventory.database.tables.ledger import Transaction
from inventory.database.tables.stock import Paper, Stock

__all__ = [
    "ExchangeRate",
    "Price",
    "PriceList",
    "Purchase",
    "PurchaseClosure",
    "PurchaseLine",
    "PurchaseReceipt",
    "ReorderLevel",
    "Supplier",
]


class Supplier(Named, Base):
    """Who sells paper, and on what terms.

    Attributes
    ----------
    currency
        ISO 4217 code, of its prices and its shipping.
    shipping
        What one delivery costs, in its currency.
    free_from
        From this sum of goods on shipping costs nothing, in its currency; None if it never does.
    least_order
        It sells no goods of less than this sum together, in its currency.
    days
        From the order to the delivery, weekends counted, where a price says nothing else.
    """

    __tablename__ = "supplier"
    __table_args__ = (CheckConstraint("days BETWEEN 0 AND 365", name="days"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    currency: Mapped[str] = mapped_column(String(3))
    shipping: Mapped[Decimal]
    free_from: Mapped[Decimal | None]
    least_order: Mapped[Decimal]
    days: Mapped[int]
    note: Mapped[str] = mapped_column(Text, default="")


class ExchangeRate(Base):
    """What one of a foreign currency is in the shop's, from a day on.

    Of those whose day has come the latest counts, of one day the one set last.  The database
    refuses to change or delete it.
    """

    __tablename__ = "exchange_rate"

    id: Mapped[int] = mapped_column(primary_key=True)
    currency: Mapped[str] = mapped_column(String(3), index=True)
    rate: Mapped[Decimal]
    day: Mapped[date]
    set_at: Mapped[datetime]


class PriceList(Base):
    """What a supplier asks from a day on: a list that was read, or a price set by hand.

    The database refuses to change or delete it.

    Attributes
    ----------
    source
        The name of the file; empty if set by hand.
    """

    __tablename__ = "price_list"

    id: Mapped[int] = mapped_column(primary_key=True)
    supplier_id: Mapped[int] = mapped_column(ForeignKey("supplier.id"), index=True)
    day: Mapped[date]
    added_at: Mapped[datetime]
    source: Mapped[str] = mapped_column(Text, default="")

    supplier: Mapped[Supplier] = relationship()


class Price(Base):
    """One line of a price list; the database refuses to change or delete it.

    Of a paper in a size the newest list counts that names it and whose day has come, with all its
    lines of that paper and size: packs of several sizes, and less a pack from several packs on.

    Attributes
    ----------
    pack
        Sheets in a pack.
    amount
        Of one pack; None: it is not sold any more.
    least
        Packs that must be ordered at least, at this price.
    days
        From the order to the delivery; the supplier's unless given.
    """

    __tablename__ = "price"
    __table_args__ = (
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("pack > 0", name="pack"),
        CheckConstraint("least > 0", name="least"),
        CheckConstraint("days BETWEEN 0 AND 365", name="days"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    list_id: Mapped[int] = mapped_column(ForeignKey("price_list.id"), index=True)
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), index=True)
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)
    pack: Mapped[int]
    amount: Mapped[Decimal | None]
    currency: Mapped[str] = mapped_column(String(3))
    least: Mapped[int]
    days: Mapped[int | None]

    price_list: Mapped[PriceList] = relationship()
    paper: Mapped[Paper] = relationship()


class ReorderLevel(Base):
    """How much of a paper is to be held; only the maker sets it.

    Attributes
    ----------
    width, height
        Of the sheets it is about; None for sheets of any size.
    reorder
        With that many sheets or fewer it is time to buy.
    target
        Up to that many sheets are bought then.
    """

    __tablename__ = "restock_level"
    __table_args__ = (
        UniqueConstraint("paper_id", "width", "height"),
        # No two nothings are equal, so a level for any size needs a separate rule.
        Index(
            "ix_restock_level_any_size",
            "paper_id",
            unique=True,
            sqlite_where=text("width IS NULL"),
        ),
        CheckConstraint("(width IS NULL) = (height IS NULL)", name="both"),
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("reorder > 0 AND target >= reorder", name="sheets"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"))
    width: Mapped[int | None] = mapped_column(BigInteger)
    height: Mapped[int | None] = mapped_column(BigInteger)
    reorder: Mapped[int]
    target: Mapped[int]
    set_at: Mapped[datetime]

    paper: Mapped[Paper] = relationship()


class Purchase(Base):
    """What was ordered from a supplier at once; the database refuses to change or delete it.

    How far it is follows from its transaction (it may have been undone), from what was received and
    from its end.

    Attributes
    ----------
    transaction_id
        The transaction of ordering it.
    ordered, expected
        The day it was ordered, and the day by which it should be there.
    number
        Under which the supplier keeps it, if it gave one.
    shipping
        What its delivery should cost, in `currency`.
    """

    __tablename__ = "purchase"

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), unique=True)
    supplier_id: Mapped[int] = mapped_column(ForeignKey("supplier.id"), index=True)
    ordered: Mapped[date]
    expected: Mapped[date]
    number: Mapped[str] = mapped_column(String(LONGEST_NAME), default="")
    currency: Mapped[str] = mapped_column(String(3))
    shipping: Mapped[Decimal]

    transaction: Mapped[Transaction] = relationship()
    supplier: Mapped[Supplier] = relationship()
    lines: Mapped[list[PurchaseLine]] = relationship(
        back_populates="purchase", order_by="PurchaseLine.id"
    )


class PurchaseLine(Base):
    """Packs of one paper in one size; the database refuses to change or delete it.

    Attributes
    ----------
    amount
        What a pack should cost, in the purchase's currency.
    """

    __tablename__ = "purchase_line"
    __table_args__ = (
        CheckConstraint("width > 0 AND height > 0", name="size"),
        CheckConstraint("pack > 0 AND packs > 0", name="packs"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    purchase_id: Mapped[int] = mapped_column(ForeignKey("purchase.id"), index=True)
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), index=True)
    width: Mapped[int] = mapped_column(BigInteger)
    height: Mapped[int] = mapped_column(BigInteger)
    pack: Mapped[int]
    packs: Mapped[int]
    amount: Mapped[Decimal]

    purchase: Mapped[Purchase] = relationship(back_populates="lines")
    paper: Mapped[Paper] = relationship()


class PurchaseReceipt(Base):
    """What came of a line of a purchase; the database refuses to change or delete it.

    It counts unless its transaction, which put the sheets into the stash, was undone.

    Attributes
    ----------
    amount
        What was billed for a pack, in the purchase's currency.
    """

    __tablename__ = "purchase_receipt"
    __table_args__ = (CheckConstraint("packs > 0", name="packs"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    transaction_id: Mapped[int] = mapped_column("deed_id", ForeignKey(TRANSACTION), index=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("purchase_line.id"), index=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), index=True)
    packs: Mapped[int]
    amount: Mapped[Decimal]

    transaction: Mapped[Transaction] = relationship()
    line: Mapped[PurchaseLine] = relationship()
    stock: Mapped[Stock] = relationship()


class PurchaseClosure(Base):
    """What has not come of a purchase is not waited for, unless its transaction was undone.

    The database refuses to change or delete it.
    """

    __tablename__ = "purchase_end"

    transaction_id: Mapped[int] = mapped_column(
        "deed_id", ForeignKey(TRANSACTION), primary_key=True
    )
    purchase_id: Mapped[int] = mapped_column(ForeignKey("purchase.id"), index=True)

    transaction: Mapped[Transaction] = relationship()
    purchase: Mapped[Purchase] = relationship()
