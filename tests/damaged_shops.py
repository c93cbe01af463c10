"""Shops of which one bit, one row or one trigger was changed, and what must be said of each."""

from __future__ import annotations

import contextlib
import io
import random
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from inventory.cli.main import main
from inventory.database.open import open_shop
from inventory.maintenance.backup import back_up, restore
from inventory.maintenance.check import check_shop
from nester.core.errors import Refusal
from tests.shopwork import begin_work, do_random_work

__all__ = ["COMMANDS", "KINDS", "content", "damage", "examine", "work_on"]

KINDS = ("bit", "row", "trigger")
COMMANDS: Sequence[Sequence[str]] = (
    ("shop", "show"),
    ("stash", "list"),
    ("place", "list"),
    ("paper", "list"),
    ("paper", "yield"),
    ("supply", "list"),
    ("order", "list"),
    ("batch", "list"),
    ("batch", "show", "1"),
    ("batch", "show", "2"),
    ("report", "use"),
    ("report", "spending"),
    ("buy", "restock"),
    ("cost", "show"),
    ("place", "add", "New"),
    ("paper", "add", "New", "--colour", "red", "--grammage", "120"),
    ("stash", "spoil", "S-1"),
)


def work_on(path: Path, seed: int, deeds: int) -> None:
    """Make a shop in which a good deal has happened, without a log beside it."""
    with open_shop(path, create=True) as shop:
        begin_work(shop)
        for number in range(deeds):
            do_random_work(shop, random.Random(f"{seed} {number}"))
    with closing(sqlite3.connect(path)) as book:
        book.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def content(path: Path) -> dict[str, object] | None:
    """Return all that is in a shop's file as SQLite reads it; None if it can't be read."""
    try:
        with closing(sqlite3.connect(path)) as book:
            schema = book.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
            tables = sorted(name for kind, name, *_ in schema if kind == "table")
            rows = {
                name: sorted(map(repr, book.execute(f'SELECT * FROM "{name}"')))  # noqa: S608
                for name in tables
            }
            return {**rows, "": sorted(map(repr, schema))}
    except (sqlite3.Error, UnicodeDecodeError, OSError):
        return None


def damage(path: Path, kind: str, rng: random.Random) -> str:
    """Change one thing in a shop's file; return what it was."""
    if kind == "bit":
        return _flip_a_bit(path, rng)
    with closing(sqlite3.connect(path, isolation_level=None)) as book:
        triggers = book.execute(
            "SELECT name, sql FROM sqlite_master WHERE type='trigger'"
        ).fetchall()
        if kind == "trigger":
            return _change_a_trigger(book, rng, triggers)
        for name, _ in triggers:
            book.execute(f"DROP TRIGGER {name}")
        book.execute("PRAGMA ignore_check_constraints = ON")
        done = _change_a_row(book, rng)
        for _, text in triggers:
            book.execute(text)
        book.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return done


def _flip_a_bit(path: Path, rng: random.Random) -> str:
    data = bytearray(path.read_bytes())
    # Half of them where something is written: much of a file is empty.
    place = rng.randrange(len(data))
    while rng.random() < 0.9 and not data[place]:
        place = rng.randrange(len(data))
    bit = rng.randrange(8)
    data[place] ^= 1 << bit
    path.write_bytes(data)
    return f"bit {bit} of byte {place}"


def _change_a_trigger(
    book: sqlite3.Connection, rng: random.Random, triggers: list[tuple[str, str]]
) -> str:
    name, text = rng.choice(triggers)
    book.execute(f"DROP TRIGGER {name}")
    if rng.random() < 0.5:
        book.execute(text.replace("RAISE(ABORT", "RAISE(FAIL"))
    book.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return f"trigger {name}"


def _change_a_row(book: sqlite3.Connection, rng: random.Random) -> str:
    names = [
        name
        for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        if book.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
    ]
    while True:
        name = rng.choice(names)
        row = rng.choice(book.execute(f'SELECT rowid FROM "{name}"').fetchall())[0]  # noqa: S608
        columns = [column[1] for column in book.execute(f'PRAGMA table_info("{name}")')]
        column = rng.choice(columns)
        try:
            if rng.random() < 0.25:
                book.execute(f'DELETE FROM "{name}" WHERE rowid = ?', [row])  # noqa: S608
                return f"row {row} of {name} is gone"
            (old,) = book.execute(
                f'SELECT "{column}" FROM "{name}" WHERE rowid = ?',  # noqa: S608
                [row],
            ).fetchone()
            new = _another(old, rng)
            book.execute(
                f'UPDATE "{name}" SET "{column}" = ? WHERE rowid = ?',  # noqa: S608
                [new, row],
            )
        except sqlite3.Error:
            continue  # a rule that can't be set aside
        return f"{name} {row}, {column}: {str(old)[:60]!r} is {str(new)[:60]!r}"


def _another(old: object, rng: random.Random) -> object:
    choices: list[Any] = [None, "", "\x1b[31mx", -1, 0, 10**15, "NaN", b"\xff\xfe", 1]
    if isinstance(old, int):
        choices += [old + 1, old - 1, -old, old ^ 1 << rng.randrange(20)]
    if isinstance(old, str) and old:
        place = rng.randrange(len(old))
        choices += [old[:place] + old[place + 1 :], old + "x", old.swapcase(), old[:place]]
        choices.append(
            old[:place] + chr(ord(old[place]) ^ 1 << rng.randrange(7)) + old[place + 1 :]
        )
    return rng.choice(
        [choice for choice in choices if choice != old or type(choice) is not type(old)]
    )


def examine(path: Path, whole: Path, before: dict[str, object], rng: random.Random) -> str:
    """Tell whether damage is found, or harmless, and hold what follows to the rules.

    Returns
    -------
    str
        ``found`` or ``harmless``.

    Raises
    ------
    AssertionError
        If damage is not found, a command stumbles over it, or it can't be put right as it is said.
    """
    after = content(path)
    try:
        with open_shop(path) as shop:
            faults = check_shop(shop).faults
        said = [f"{fault.where}: {fault.message}" for fault in faults]
    except Refusal as refusal:
        said = [str(refusal)]
    if not said:
        assert after == before, "not found, and the book is another one"
    damaged = path.read_bytes()
    for command in rng.sample(COMMANDS, 3):
        path.write_bytes(damaged)
        for end in ("-wal", "-shm"):
            Path(f"{path}{end}").unlink(missing_ok=True)
        code, output = run("--shop", str(path), *command)
        assert code in (0, 2, 3), f"{command}: {code}: {output}"
        assert "fault of the program" not in output, f"{command}: {output}"
    if said:
        restore(whole, path, replace=True)
        for kept in path.parent.glob(f"{path.stem}.before-restore-*"):
            kept.unlink()
        with open_shop(path) as shop:
            assert check_shop(shop).findings == ()
        assert content(path) == before
    return "found" if said else "harmless"


def run(*arguments: str) -> tuple[int, str]:
    """Run a command in this process; return its code and what it wrote."""
    with _captured() as written:
        code = main(arguments)
    return code, written.getvalue()


@contextlib.contextmanager
def _captured() -> Iterator[io.StringIO]:
    written = io.StringIO()
    with contextlib.redirect_stdout(written), contextlib.redirect_stderr(written):
        yield written


def try_one(folder: Path, whole: Path, before: dict[str, object], kind: str, seed: str) -> str:
    """Damage a copy of a shop and examine it; an AssertionError says what was damaged."""
    rng = random.Random(seed)
    path = folder / "damaged.sqlite"
    for old in folder.glob("damaged*"):
        old.unlink()
    path.write_bytes(whole.read_bytes())
    path.chmod(0o600)
    done = damage(path, kind, rng)
    try:
        return examine(path, whole, before, rng)
    except Exception as fault:
        raise AssertionError(f"{kind}, seed {seed}: {done}: {fault!r}") from fault


def backed_up(folder: Path, seed: int, deeds: int = 40) -> tuple[Path, dict[str, object]]:
    """Make a shop and a backup of it; return the backup and all that is in it."""
    made = folder / f"made-{seed}.sqlite"
    work_on(made, seed, deeds)
    with open_shop(made) as shop:
        whole = back_up(shop, folder / f"whole-{seed}.sqlite")
    before = content(whole)
    assert before is not None
    return whole, before
