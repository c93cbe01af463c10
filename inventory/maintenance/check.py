"""Proving that a shop's book is sound: every rule that holds in it, held to all that is in it.

What the tables say of themselves (their columns, rules, pointers and guards) is read from the
models and the migrations, so that a new table is checked without a word here.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, inspect, or_, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, aliased

from inventory.core.limits import MAX_DEPTH
from inventory.core.text import LARGEST_NUMBER, fold, holds_unseen, shorten
from inventory.database import checksum
from inventory.database.tables.all import METADATA
from inventory.database.tables.enums import (
    NEXT_STATUSES,
    BatchStatus,
    OrderStatus,
    Reason,
)
from inventory.database.tables.ledger import DamagedArea, Movement, Transaction
from inventory.database.tables.orders import (
    Batch,
    BatchOrder,
    CustomDesign,
    Order,
    OrderStatusChange,
)
from inventory.database.tables.production import (
    OrderChange,
    PaperChange,
    SparePiece,
    SparePieceMovement,
)
from inventory.database.tables.purchasing import (
    Purchase,
    PurchaseClosure,
    PurchaseLine,
    PurchaseReceipt,
)
from inventory.database.tables.row_rules import row_faults
from inventory.database.tables.shop import Shop
from inventory.database.tables.stock import Paper, Place, Stock
from inventory.database.tables.supplies import SupplyItem, SupplyMovement
from inventory.stock import ledger
from inventory.stock.lookup import label_of
from inventory.stock.papers import current_names
from inventory.stock.reservations import (
    copies_done,
    copies_left,
    reserved_quantities,
    unwanted_orders,
)
from nester.core.errors import Hint, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table

    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile

__all__ = ["CHECKS", "CheckReport", "Finding", "check_shop", "damage_of"]


@dataclass(frozen=True)
class Finding:
    """One thing that is not as it should be.

    Attributes
    ----------
    check
        The name of the check in `CHECKS` that found it.
    fault
        Whether the book contradicts itself; else the book is right and the drawer lacks something.
    where
        A label, or a table and the key of its row.
    message
        A sentence without its full stop.
    """

    check: str
    fault: bool
    where: str
    message: str


@dataclass(frozen=True)
class CheckReport:
    """What all checks found, and which of them were made."""

    checks: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def faults(self) -> list[Finding]:
        """What contradicts itself in the book."""
        return [finding for finding in self.findings if finding.fault]

    @property
    def notices(self) -> list[Finding]:
        """What the maker should look after, in a book that is right."""
        return [finding for finding in self.findings if not finding.fault]


_Findings = Iterable[tuple[str, str]]


def check_shop(shop: ShopFile) -> CheckReport:
    """Hold all rules to all that is in the book, as it is at one moment.

    A check that would stumble over what another one found is left out: nothing else is looked at
    in a damaged file, and no quantity where values can't be read.

    Raises
    ------
    Refusal
        If the book can't be read at all.
    """
    made: list[str] = []
    findings: list[Finding] = []
    with shop.read() as session:
        for stage in _STAGES:
            for name in stage:
                made.append(name)
                findings += _found_by(name, session)
            if findings:
                break
        else:
            findings += [Finding("reservations", False, *found) for found in _shortages(session)]
    return CheckReport(tuple(made), tuple(findings))


def damage_of(shop: ShopFile) -> Refusal | None:
    """Return the refusal of a shop whose book is damaged, for whoever stumbled over something.

    None if the book is right.
    """
    try:
        faults = check_shop(shop).faults
    except Refusal as refusal:
        return refusal
    if not faults:
        return None
    first = faults[0]
    return Refusal(
        f"{shop.place} is damaged ({shorten(first.where)}: {shorten(first.message, 200)});"
        " restore a backup",
        Hint("put the backup in its place", "shop restore", ("BACKUP", "--replace")),
    )


def _found_by(name: str, session: Session) -> list[Finding]:
    """Return what a check finds; in a damaged book it may stumble, which is a finding too."""
    found: list[Finding] = []
    try:
        found.extend(Finding(name, True, *each) for each in CHECKS[name][1](session))
    except Exception as fault:
        # Where the file says what was written into it, the fault is the check's.
        if next(iter(_content(session)), None) is None:
            raise
        what = f"what is stored can't be followed ({type(fault).__name__})"
        found.append(Finding(name, True, "records", what))
    return found


# --- the file and its tables -------------------------------------------------------------------


def _file(session: Session) -> _Findings:
    if not _on_sqlite(session):
        return
    try:
        messages = session.scalars(text("PRAGMA integrity_check")).all()
    except DBAPIError as error:
        messages = [str(error.orig)]
    yield from (("file", line) for line in messages if line != "ok")


def _content(session: Session) -> _Findings:
    """Compare the file with its checksum, which tells what makes sense and was never written."""
    if not _on_sqlite(session):
        return
    driver: Any = session.connection().connection.driver_connection
    try:
        is_right = checksum.is_right(driver)
    except Exception:  # what can't be read was not written so either
        is_right = False
    if not is_right:
        yield (
            "file",
            "it was changed since it was stored, by the disk or by another program; if you changed"
            " it yourself, export the shop and import it",
        )


def _on_sqlite(session: Session) -> bool:
    return session.get_bind().dialect.name == "sqlite"


def _tables(session: Session) -> _Findings:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    connection = session.connection()
    for difference in compare_metadata(MigrationContext.configure(connection), METADATA):
        yield "tables", f"they are not those of this version: {_shown(difference)}"
    looked = inspect(connection)
    for table in METADATA.sorted_tables:
        if not looked.has_table(table.name):
            continue
        there = {rule["name"] for rule in looked.get_check_constraints(table.name)}
        for name in sorted(_rules_of(table) - there, key=str):
            yield table.name, f"its rule {name} is missing"


def _shown(difference: Any) -> str:
    operation, *things = difference[0] if isinstance(difference, list) else difference
    names = (getattr(thing, "name", thing) for thing in things if thing is not None)
    return " ".join([str(operation), *(str(name) for name in names if not isinstance(name, dict))])


def _rules_of(table: Table) -> set[Any]:
    from sqlalchemy import CheckConstraint

    return {rule.name for rule in table.constraints if isinstance(rule, CheckConstraint)}


def _append_only_triggers(session: Session) -> _Findings:
    """Look for the triggers that keep ledgers append-only, as the migrations make them."""
    expected = _expected_triggers()
    there = _triggers(session.connection())
    if _on_sqlite(session):
        for name in sorted(expected):
            if there.get(name) != expected[name]:
                yield name, "this guard of a ledger is missing or was changed"
        return
    for name in sorted(expected):
        # PostgreSQL's upserts are updates; what only it can do is to empty a table at once.
        name = name.replace("_no_replace", "_no_truncate")
        if there.get(name) not in ("O", "A"):
            yield name, "this guard of a ledger is missing or switched off"


def _expected_triggers() -> dict[str, str]:
    from inventory.database.migrate import schema

    return {name: " ".join(sql.split()) for kind, name, sql in schema() if kind == "trigger"}


def _triggers(connection: Connection) -> dict[str, str]:
    """Return the triggers by name: on SQLite with their text, else with how they are enabled."""
    query = (
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        if connection.dialect.name == "sqlite"
        else "SELECT tgname, tgenabled::text FROM pg_trigger WHERE NOT tgisinternal"
        " AND tgrelid IN (SELECT oid FROM pg_class WHERE relnamespace ="
        " current_schema()::regnamespace)"
    )
    return {name: " ".join(rest.split()) for name, rest in connection.execute(text(query))}


# --- the rows by themselves --------------------------------------------------------------------


def _values(session: Session) -> _Findings:
    """Read every value as what it is: a choice, a moment, an amount of money."""
    for table in METADATA.sorted_tables:
        keys = list(table.primary_key.columns)
        try:
            for _ in session.execute(select(table)):
                pass
            continue
        except Exception as unreadable:
            why = _reason(unreadable)
        for key in session.execute(select(*keys)):
            this = [column == value for column, value in zip(keys, key, strict=True)]
            try:
                session.execute(select(table).where(*this)).all()
            except Exception as unreadable:
                yield _row(table, key), f"it holds what can't be read ({_reason(unreadable)})"
                break
        else:
            yield table.name, f"it holds what can't be read ({why})"


def _reason(unreadable: Exception) -> str:
    """Return what was wrong with a value; a fault of the database's own is raised."""
    if isinstance(unreadable, DBAPIError):
        if getattr(unreadable.orig, "sqlite_errorcode", None) or unreadable.orig is None:
            raise unreadable
        return shorten(str(unreadable.orig), 100)
    return shorten(" ".join(str(unreadable).split()), 100)


def _rows(session: Session) -> _Findings:
    """Hold each row to what a command could have stored in it."""
    for table in METADATA.sorted_tables:
        keys = [column.name for column in table.primary_key.columns]
        for row in session.execute(select(table).execution_options(yield_per=1000)).mappings():
            nothing = [
                (column.name, "it is empty")
                for column in table.columns
                if row[column.name] is None and not column.nullable
            ]
            for column, why in (*nothing, *row_faults(table.name, dict(row))):
                yield _row(table, (row[key] for key in keys)), f"{column}: {why}"


def _row(table: Table, key: Iterable[Any]) -> str:
    return f"{table.name} {', '.join(map(str, key))}"


def _pointers(session: Session) -> _Findings:
    for table in METADATA.sorted_tables:
        for pointer in sorted(table.foreign_keys, key=lambda key: key.parent.name):
            child, parent = table.alias(), pointer.column.table.alias()
            mine, theirs = child.c[pointer.parent.name], parent.c[pointer.column.name]
            lost = (
                select(mine, *(child.c[key.name] for key in table.primary_key.columns))
                .outerjoin(parent, mine == theirs)
                .where(mine.is_not(None), theirs.is_(None))
            )
            for value, *key in session.execute(lost):
                where = f"{pointer.column.table.name} {value}"
                yield _row(table, key), f"its {pointer.parent.name} points to {where}, not there"


def _shop(session: Session) -> _Findings:
    number = session.scalar(select(func.count()).select_from(Shop))
    if number != 1:
        yield "shop", f"there must be one shop, and there are {number}"


def _names(session: Session) -> _Findings:
    """Two names that are the same but for case and spacing are recognized by their key."""
    for table in METADATA.sorted_tables:
        for column in table.c:
            key_column = table.c.get(f"{column.name}_key")
            if key_column is not None:
                rows = session.execute(select(column, key_column)).all()
                keys = {key for _, key in rows}
                for name, key in rows:
                    # Two names that differed in what nobody sees stay two (see revision 0008).
                    if fold(name) != key and not (holds_unseen(name) and fold(name) in keys):
                        yield f"{table.name} '{name}'", f"it is filed under '{shorten(key)}'"


def _places(session: Session) -> _Findings:
    """Check that no place stands in itself, and none too deep to be told."""
    above: dict[int, int | None] = dict(session.execute(select(Place.id, Place.parent_id)).all())
    for place in above:
        chain = [place]
        while len(chain) <= MAX_DEPTH and (outer := above[chain[-1]]) is not None:
            chain.append(outer)
        if len(chain) > MAX_DEPTH:
            way = "it stands in itself" if place in chain[1:] else "it stands too deep in others"
            yield f"place {place}", way


def _ancestors(session: Session) -> _Findings:
    """Check that what a row comes from was there before it, so that no way leads in a circle."""
    for table in METADATA.sorted_tables:
        for pointer in table.foreign_keys:
            if pointer.column.table is table and table is not Place.__table__:
                mine, theirs = table.c.id, pointer.parent
                for key, older in session.execute(select(mine, theirs).where(theirs >= mine)):
                    yield _row(table, [key]), f"its {theirs.name} is {older}, which came later"


def _labels(session: Session) -> _Findings:
    rows = session.execute(select(Stock.label, Stock.kind, Stock.number, Stock.batch_id))
    for label, kind, number, batch in rows:
        right = label_of(kind, number, batch)
        if label != right:
            yield label, f"{kind} number {number} should have the label {right}"
    for label, number in session.execute(select(SupplyItem.label, SupplyItem.id)):
        if label.partition("-")[2] != str(number):
            yield label, f"it is of supply item {number} and should have its number"


def _damaged_areas(session: Session) -> _Findings:
    lines = (
        select(DamagedArea, Stock)
        .join(Stock, DamagedArea.stock_id == Stock.id)
        .order_by(DamagedArea.id)
    )
    for area, stock in session.execute(lines):
        if area.rect.right > stock.width or area.rect.bottom > stock.height:
            yield stock.label, f"its damaged area {area.id} does not lie on it"
    there = ledger.on_hand_sums()
    several = (
        select(Stock.label, there.c.quantity)
        .join(there, there.c.stock_id == Stock.id)
        .where(
            there.c.quantity > 1,
            Stock.id.in_(
                select(DamagedArea.stock_id).where(
                    DamagedArea.transaction_id.not_in(ledger.reversed_transactions())
                )
            ),
        )
        .order_by(Stock.id)
    )
    for label, quantity in session.execute(several):
        yield label, f"it is damaged, and there can't be {quantity} like it"


# --- the ledger --------------------------------------------------------------------------------


def _sums(session: Session) -> _Findings:
    """After no movement were there fewer than none, or more than there can be."""
    after = func.sum(Movement.change).over(
        partition_by=Movement.stock_id, order_by=Movement.id, rows=(None, 0)
    )
    each = select(
        Movement.id, Stock.label, after.label("after")
    ).join(Stock, Movement.stock_id == Stock.id).subquery()  # fmt: skip
    wrong = select(each).where(or_(each.c.after < 0, each.c.after > LARGEST_NUMBER))
    for number, label, there in session.execute(wrong.order_by(each.c.id)):
        yield label, f"after movement {number} there would be {there} of it"


def _reversal_movements(session: Session) -> _Findings:
    first = aliased(Movement)
    pairs = (
        select(Movement, first).join(first, Movement.undoes_id == first.id).order_by(Movement.id)
    )
    for back, taken in session.execute(pairs):
        if (
            back.stock_id != taken.stock_id
            or back.change != -taken.change
            or back.id <= taken.id
            or taken.reason is Reason.UNDONE
        ):
            yield f"movement {back.id}", f"it does not reverse movement {taken.id} as it was"


def _supplies(session: Session) -> _Findings:
    """After no movement was there less than nothing of a reel or a pack."""
    after = func.sum(SupplyMovement.change).over(
        partition_by=SupplyMovement.item_id, order_by=SupplyMovement.id, rows=(None, 0)
    )
    each = (
        select(SupplyMovement.id, SupplyItem.label, after.label("after"))
        .join(SupplyItem, SupplyMovement.item_id == SupplyItem.id)
        .subquery()
    )
    for number, label, there in session.execute(select(each).where(each.c.after < 0)):
        yield label, f"after supply movement {number} there would be {there} of it"


def _spare_pieces(session: Session) -> _Findings:
    """Of no spare pieces are there fewer than none."""
    there = (
        select(SparePiece.label, func.sum(SparePieceMovement.change))
        .join(SparePieceMovement, SparePieceMovement.spare_id == SparePiece.id)
        .where(SparePieceMovement.transaction_id.not_in(ledger.reversed_transactions()))
        .group_by(SparePiece.id, SparePiece.label)
        .having(func.sum(SparePieceMovement.change) < 0)
        .order_by(SparePiece.id)
    )
    for label, quantity in session.execute(there):
        yield label, f"there would be {quantity} of these spare pieces"


def _changed_orders(session: Session) -> _Findings:
    """Check that an order is as its last change left it, where nothing changed it since."""
    latest: dict[tuple[int, str], object] = {}
    changes = select(OrderChange).where(
        OrderChange.transaction_id.not_in(ledger.reversed_transactions())
    )
    for change in session.scalars(changes.order_by(OrderChange.id)):
        for name, value in change.after.items():
            latest[change.order_id, name] = value
    names = current_names(session)
    for (number, name), value in sorted(latest.items()):
        order = session.get(Order, number)
        if order is None or name == "status":
            continue
        now = getattr(order, name)
        if name == "papers" and isinstance(value, dict):
            value = {role: names.get(paper, paper) for role, paper in value.items()}
        is_same = (str(now) if name == "price" and now is not None else now) == value
        if name == "due":
            is_same = order.due.isoformat() == value
        if not is_same:
            yield f"order {number}", f"its {name} is not what its last change made it"


def _corrected_papers(session: Session) -> _Findings:
    """Check that a paper is as its last correction left it."""
    latest: dict[tuple[int, str], object] = {}
    changes = select(PaperChange).where(
        PaperChange.transaction_id.not_in(ledger.reversed_transactions())
    )
    for change in session.scalars(changes.order_by(PaperChange.id)):
        latest.update({(change.paper_id, name): value for name, value in change.after.items()})
    for (number, name), value in sorted(latest.items()):
        paper = session.get(Paper, number)
        if paper is not None and getattr(paper, name) != value:
            yield f"paper '{paper.name}'", f"its {name} is not what its last change made it"


def _changed(session: Session) -> _Findings:
    yield from _changed_orders(session)
    yield from _corrected_papers(session)


def _reversals(session: Session) -> _Findings:
    """Check that a transaction that undoes another one undoes all of it, and nothing else."""
    booked: dict[int | None, Counter[tuple[str, int | None, int]]] = defaultdict(Counter)
    taken: dict[int | None, Counter[tuple[str, int | None, int]]] = defaultdict(Counter)
    lines = select(Movement.transaction_id, Movement.id, Movement.undoes_id, Movement.change)
    for transaction_id, number, undoes, change in session.execute(lines):
        booked[transaction_id]["movement", number, change] += 1
        taken[transaction_id]["movement", undoes, -change] += 1
    supplies = select(SupplyMovement.transaction_id, SupplyMovement.item_id, SupplyMovement.change)
    for transaction_id, item, change in session.execute(supplies):
        booked[transaction_id]["supply", item, change] += 1
        taken[transaction_id]["supply", item, -change] += 1
    pairs = (
        select(Transaction.id, Transaction.undoes_id)
        .where(Transaction.undoes_id.is_not(None))
        .order_by(Transaction.id)
    )
    for back, undoes in session.execute(pairs):
        if taken[back] != booked[undoes]:
            yield f"entry {back}", f"it does not undo all of entry {undoes}, and nothing else"


# --- buying ------------------------------------------------------------------------------------


def _purchases(session: Session) -> _Findings:
    """Check that no more came of a purchase than was ordered, and all of it is in the ledger."""
    for table, reason in (
        (Purchase, Reason.ORDERED),
        (PurchaseReceipt, Reason.RECEIVED),
        (PurchaseClosure, Reason.CLOSED),
    ):
        transactions = (
            select(Transaction.id, Transaction.reason)
            .join(table, table.transaction_id == Transaction.id)
            .distinct()
        )
        for number, its in session.execute(transactions.order_by(Transaction.id)):
            if its is not reason:
                yield (
                    f"entry {number}",
                    f"it is of a purchase and should be '{reason}', not '{its}'",
                )
    came = (
        select(PurchaseLine, func.sum(PurchaseReceipt.packs))
        .join(PurchaseReceipt, PurchaseReceipt.line_id == PurchaseLine.id)
        .where(PurchaseReceipt.transaction_id.not_in(ledger.reversed_transactions()))
        .group_by(PurchaseLine.id)
        .order_by(PurchaseLine.id)
    )
    for line, packs in session.execute(came):
        if packs > line.packs:
            yield f"purchase {line.purchase_id}", f"{packs} packs came of {line.packs} ordered"
    received: Counter[tuple[int, int]] = Counter()
    receipts = select(PurchaseReceipt, PurchaseLine, Stock).join(
        PurchaseLine, PurchaseReceipt.line_id == PurchaseLine.id
    ).join(Stock, PurchaseReceipt.stock_id == Stock.id)  # fmt: skip
    for receipt, line, stock in session.execute(receipts):
        received[receipt.transaction_id, stock.id] += receipt.packs * line.pack
        if stock.paper_id != line.paper_id:
            yield stock.label, f"purchase {line.purchase_id} is of another paper"
    booked = select(Movement.transaction_id, Movement.stock_id, Movement.change).where(
        Movement.transaction_id.in_(select(PurchaseReceipt.transaction_id))
    )
    moved: Counter[tuple[int, int]] = Counter()
    for transaction_id, stock_id, change in session.execute(booked):
        moved[transaction_id or 0, stock_id] += change
    for key, sheets in sorted(received.items()):
        if moved[key] != sheets:
            yield (
                f"entry {key[0]}",
                f"{sheets} sheets of a purchase came, and it recorded {moved[key]}",
            )


# --- batches and orders ------------------------------------------------------------------------


def _plans(session: Session) -> _Findings:
    from inventory.core.plan import plan_faults

    for number in session.scalars(select(Batch.id).order_by(Batch.id)):
        try:
            plan = _plan(session.scalars(select(Batch.plan).where(Batch.id == number)).one())
        except ValueError as unreadable:
            yield f"batch {number}", f"its plan can't be read ({_reason(unreadable)})"
            continue
        if plan.batch != number:
            yield f"batch {number}", f"its plan is of batch {plan.batch}"
        for why in islice(plan_faults(plan), 1):
            yield f"batch {number}", f"its plan can't be followed: {why}"


def _batches(session: Session) -> _Findings:
    """Check that the status of a batch is what was cut of it.

    Of batches from before each copy was written down only the sheets taken are known.
    """
    touched = set(
        session.scalars(select(Movement.batch_id).where(Movement.batch_id.is_not(None)).distinct())
    )
    batches = dict(session.execute(select(Batch.id, Batch.status).order_by(Batch.id)).all())
    done = copies_done(session, batches)
    known = {number for number, _ in done}
    for number, status in batches.items():
        if status is BatchStatus.CUT and number not in touched:
            yield f"batch {number}", "it is cut, and no sheet was taken for it"
        if status in (BatchStatus.DRAFT, BatchStatus.DROPPED):
            if number in known:
                yield f"batch {number}", f"it is {status}, and a part of it is cut"
            continue
        if status is BatchStatus.CUT and number not in known:
            continue
        plan = _plan(session.get_one(Batch, number).plan)
        unwanted = unwanted_orders(session, [number])
        is_left = any(
            copies_left(
                layout.copies,
                [spot.orders for spot in layout.spots],
                done.get((number, layout.number), set()).union(layout.dropped),
                unwanted,
            )
            for layout in plan.layouts
        )
        if is_left is (status is BatchStatus.CUT) and plan.layouts:
            left = "something" if is_left else "nothing"
            yield f"batch {number}", f"it is {status}, and {left} of it is left to cut"


def _designs(session: Session) -> _Findings:
    """Read the designs of the maker's own, those that orders keep among them."""
    from nester.designs.custom.reader import read_custom_design

    read: dict[str, str] = {}
    kept = (
        ("design", select(CustomDesign.id, CustomDesign.name, CustomDesign.text)),
        ("order", select(Order.id, Order.design, Order.design_text).order_by(Order.id)),
    )
    for kind, rows in kept:
        for number, name, written in session.execute(rows):
            if written is None:
                continue
            try:
                if written not in read:
                    read[written] = read_custom_design(written, "its design").name
            except Refusal as why:
                yield f"{kind} {number}", str(why)
            else:
                if read[written] != name:
                    yield f"{kind} {number}", f"its design '{name}' calls itself '{read[written]}'"


def _plan(text_of_it: str) -> Plan:
    from inventory.core.plan import plan_from_json

    return plan_from_json(text_of_it)


def _orders(session: Session) -> _Findings:
    """Check that an order that is planned is in one open batch, and none is in two."""
    open_batches: dict[int, list[int]] = defaultdict(list)
    pairs = (
        select(BatchOrder.order_id, BatchOrder.batch_id)
        .join(Batch, BatchOrder.batch_id == Batch.id)
        .where(Batch.status == BatchStatus.OPEN, Batch.mends_id.is_(None))
        .order_by(BatchOrder.batch_id)
    )
    for order, batch in session.execute(pairs):
        open_batches[order].append(batch)
    for order, batches in sorted(open_batches.items()):
        if len(batches) > 1:
            which = ", ".join(map(str, batches))
            yield f"order {order}", f"it is in several open batches at once: {which}"
    planned = select(Order.id).where(Order.status == OrderStatus.PLANNED).order_by(Order.id)
    for order in session.scalars(planned):
        if order not in open_batches:
            yield f"order {order}", "it is planned, and in no open batch"


def _steps(session: Session) -> _Findings:
    """Check that an order took steps that it may take, and is what the last of them made of it.

    Of orders from before steps were written down only the first is known, however far they are.
    """
    last = (
        select(func.max(OrderStatusChange.id))
        .group_by(OrderStatusChange.order_id)
        .having(func.count() > 1)
    )
    rows = (
        select(Order.id, Order.status, OrderStatusChange.status)
        .join(OrderStatusChange, OrderStatusChange.order_id == Order.id)
        .where(OrderStatusChange.id.in_(last), OrderStatusChange.status != Order.status)
        .order_by(Order.id)
    )
    for number, status, step in session.execute(rows):
        yield f"order {number}", f"it is {status}, and its last step made it {step}"
    taken: dict[int, OrderStatus] = {}
    steps = select(OrderStatusChange.order_id, OrderStatusChange.status)
    for number, status in session.execute(steps.order_by(OrderStatusChange.id)):
        before = taken.get(number)
        if before is not None and status not in NEXT_STATUSES[before]:
            yield f"order {number}", f"it was {before} and can't have become {status}"
        taken[number] = status


def _cut_once(session: Session) -> _Findings:
    """Check that no batch cut more of a label than its plan takes."""
    yield from _copies_cut(session)
    taken = aliased(Movement)
    by_layout = select(Transaction.id).where(Transaction.layout.is_not(None))
    rows = session.execute(
        select(Movement.batch_id, Stock.label, -func.sum(Movement.change))
        .join(Stock, Movement.stock_id == Stock.id)
        .outerjoin(taken, Movement.undoes_id == taken.id)
        .where(
            Movement.batch_id.is_not(None),
            or_(Movement.reason == Reason.CUT, taken.reason == Reason.CUT),
            # Of what was cut layout by layout each copy is known, and other sheets may stand in.
            or_(Movement.transaction_id.is_(None), Movement.transaction_id.not_in(by_layout)),
            or_(taken.transaction_id.is_(None), taken.transaction_id.not_in(by_layout)),
        )
        .group_by(Movement.batch_id, Stock.label)
    )
    cut: Counter[tuple[int, str]] = Counter()
    for batch, label, sheets in rows:
        if batch is not None:
            cut[batch, label] += int(sheets)
    batches = session.scalars(select(Batch.id)).all()
    done = copies_done(session, batches)
    for number in sorted({batch for batch, _ in (*cut, *done)}):
        plan = _plan(session.get_one(Batch, number).plan)
        planned = _usage_by_label(plan)
        for layout in plan.layouts:
            cut[number, layout.sheet.label] += len(done.get((number, layout.number), ()))
        for label in sorted(label for batch, label in cut if batch == number):
            if cut[number, label] > planned[label]:
                yield (
                    label,
                    (
                        f"batch {number} cut {cut[number, label]} of it, and its plan takes"
                        f" {planned[label]}"
                    ),
                )


def _copies_cut(session: Session) -> _Findings:
    """Check that for each copy cut one sheet was taken, and none was cut twice."""
    taken: dict[int | None, int] = dict(
        session.execute(
            select(Movement.transaction_id, -func.sum(Movement.change))
            .where(Movement.reason.in_([Reason.CUT, Reason.SPOILED]))
            .group_by(Movement.transaction_id)
        ).all()
    )
    rows = session.scalars(
        select(Transaction)
        .where(
            Transaction.layout.is_not(None),
            Transaction.reason.in_([Reason.CUT, Reason.SPOILED]),
            Transaction.id.not_in(ledger.reversed_transactions()),
        )
        .order_by(Transaction.id)
    )
    done: set[tuple[int | None, int | None, int]] = set()
    for transaction in rows:
        sheets = int(taken.get(transaction.id, 0))
        copies = transaction.copies or []
        what = f"layout {transaction.layout} of batch {transaction.batch_id}"
        if sheets != len(copies):
            yield (
                f"entry {transaction.id}",
                f"{len(copies)} of {what} were cut from {sheets} sheets",
            )
        for copy in copies:
            key = (transaction.batch_id, transaction.layout, copy)
            if key in done:
                yield f"entry {transaction.id}", f"copy {copy} of {what} was cut before"
            done.add(key)


def _kept_offcuts(session: Session) -> _Findings:
    """Check that the offcuts of a batch are those of its plan, and each copy cut left its own."""
    plans: dict[int, Plan] = {}

    def plan_of_batch(number: int) -> Plan:
        if number not in plans:
            plans[number] = _plan(session.get_one(Batch, number).plan)
        return plans[number]

    piles = select(Stock).where(Stock.batch_id.is_not(None)).order_by(Stock.id)
    for pile in session.scalars(piles):
        plan = plan_of_batch(pile.batch_id or 0)
        for layout in plan.layouts:
            rect, _ = layout.offcuts_by_kind().get(pile.number, (None, 0))
            if rect is not None and (layout.sheet.paper, rect.width, rect.height) != (
                pile.paper.name, pile.width, pile.height
            ):  # fmt: skip
                yield pile.label, f"layout {layout.number} of its batch leaves others by that label"
                break
    rows = session.execute(
        select(Transaction, Stock.batch_id, Stock.number, Movement.change)
        .join(Movement, Movement.transaction_id == Transaction.id)
        .join(Stock, Movement.stock_id == Stock.id)
        .where(
            Transaction.reason == Reason.CUT,
            Transaction.layout.is_not(None),
            Transaction.id.not_in(ledger.reversed_transactions()),
            Movement.reason == Reason.KEPT,
        )
        .order_by(Transaction.id)
    )
    kept: dict[Transaction, Counter[int]] = defaultdict(Counter)
    for transaction, batch, number, change in rows:
        # Before equal offcuts were piles, each had a number that says nothing of its kind.
        if batch == transaction.batch_id:
            kept[transaction][number] += change
    for transaction, kinds in kept.items():
        plan = plan_of_batch(transaction.batch_id or 0)
        copies = len(transaction.copies or ())
        for layout in plan.layouts:
            if layout.number != transaction.layout:
                continue
            planned = Counter({k: n * copies for k, (_, n) in layout.offcuts_by_kind().items()})
            if planned != kinds:
                yield (
                    f"entry {transaction.id}",
                    f"it kept {kinds.total()} offcuts, and its layout leaves {planned.total()}",
                )


def _usage_by_label(plan: Plan) -> Counter[str]:
    takes: Counter[str] = Counter()
    for layout in plan.layouts:
        takes[layout.sheet.label] += layout.copies
    return takes


def _reservations(session: Session) -> _Findings:
    """Check that open batches take no more than was there when the last of them was booked.

    What was spoiled, counted away or undone since is no fault of the book (see `_shortages`).
    """
    for stock, wanted, there in _short(session):
        since = min(
            batch.made_at
            for batch in session.scalars(select(Batch).where(Batch.status == BatchStatus.OPEN))
            if _usage_by_label(_plan(batch.plan))[stock.label]
        )
        lost = session.scalar(
            select(func.coalesce(-func.sum(Movement.change), 0)).where(
                Movement.stock_id == stock.id,
                Movement.change < 0,
                Movement.reason != Reason.CUT,
                Movement.at >= since,
            )
        )
        if wanted - there > int(lost or 0):
            yield stock.label, f"open batches take {wanted} of it, and {there} are there"


def _shortages(session: Session) -> _Findings:
    for stock, wanted, there in _short(session):
        yield (
            stock.label,
            (
                f"open batches take {wanted} of it, and only {there} are left after what was"
                " spoiled, counted or undone; drop such a batch and plan again"
            ),
        )


def _short(session: Session) -> Iterable[tuple[Stock, int, int]]:
    by_label = {stock.label: stock for stock in session.scalars(select(Stock))}
    there = ledger.on_hand_by_stock(session)
    for label, wanted in sorted(reserved_quantities(session).items()):
        stock = by_label.get(label)
        if stock is not None and wanted > there.get(stock.id, 0):
            yield stock, wanted, there.get(stock.id, 0)


CHECKS: dict[str, tuple[str, Callable[[Session], _Findings]]] = {
    "file": ("the file is whole", _file),
    "tables": ("the tables are those of this version", _tables),
    "guards": ("the database keeps the ledger append-only", _append_only_triggers),
    "values": ("every value can be read", _values),
    "rows": ("every row holds only what a command could have stored", _rows),
    "pointers": ("every pointer points to something", _pointers),
    "shop": ("there is one shop", _shop),
    "names": ("every name is filed under its key", _names),
    "labels": ("every label is of its kind and number", _labels),
    "places": ("no place stands in itself", _places),
    "origins": ("everything came from what was there before it", _ancestors),
    "bruises": ("every damaged area lies on its offcut, of which there is one", _damaged_areas),
    "sums": ("no sum of movements was ever below zero, or over a million", _sums),
    "supplies": ("no sum of a supply's movements was ever below zero", _supplies),
    "spares": ("there are never fewer than no spare pieces", _spare_pieces),
    "deeds": ("every entry was undone as a whole or not at all", _reversals),
    "undone": ("every undo reverses one whole movement", _reversal_movements),
    "purchases": ("no more came of a purchase than was ordered, and all is booked", _purchases),
    "plans": ("every batch has its plan", _plans),
    "batches": ("every batch is as far as it was cut", _batches),
    "designs": ("every design of the shop's own can be read", _designs),
    "orders": ("every planned order is in one open batch", _orders),
    "changes": ("every order and paper is as its last change made it", _changed),
    "steps": ("every order took steps it may take, and is what the last made of it", _steps),
    "cut": ("no batch cut more than its plan takes", _cut_once),
    "offcuts": ("every cut left the offcuts of its plan", _kept_offcuts),
    "reservations": ("no sheet is reserved twice", _reservations),
    "content": ("nothing was changed but by Quirebox", _content),
}
"""By name: what is proven, and how."""

_STAGES = (
    ("file",),
    ("tables", "guards"),
    ("values", "pointers", "shop"),
    (
        "rows",
        "places",
        "origins",
        "names",
        "labels",
        "bruises",
        "sums",
        "supplies",
        "spares",
        "undone",
        "deeds",
        "purchases",
        "plans",
        "designs",
    ),
    ("orders", "changes", "steps", "batches", "cut", "offcuts", "reservations"),
    ("content",),
)
"""A later stage relies upon the ones before it."""
