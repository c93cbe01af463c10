"""Inputs that chance has spoilt, for every reader of what comes from outside.

Each must be read or refused in one sentence, in a few seconds, in little memory, and without a
trace anywhere but where it was told to write.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import random
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from inventory.advice.fit_lists import read_problem
from inventory.cli.reference import list_commands
from inventory.costs.rates import import_postage
from inventory.database.open import PATH_VARIABLE, open_shop
from inventory.maintenance.archive import export_shop, import_shop
from inventory.maintenance.backup import back_up, restore
from inventory.maintenance.check import check_shop
from inventory.orders.custom_designs import read_design_file
from inventory.orders.import_orders import import_orders
from inventory.orders.orders import add_order
from inventory.purchasing.price_list_reader import read_prices
from inventory.stock import import_lists
from inventory.stock.papers import add_paper
from inventory.stock.receiving import add_offcut, add_sheets
from inventory.stock.stocktake import compare_counts, read_counts
from nester.core.errors import Refusal
from nester.core.lengths import Unit, cm
from nester.core.problem import Cuts
from nester.designs.custom.reader import read_custom_design
from nester.designs.custom.starter_file import STARTER_TEXT
from tests.damage import LISTS, as_csv, as_workbook, members, spoil, zipped
from tests.damaged_shops import run

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

__all__ = ["LONGEST", "READERS", "Sandbox", "try_input"]

_HARMLESS = "\u200b\u200c\u200d\ufeff"
"""Signs without a width, as in names and emoji of many scripts."""
LONGEST = 10
"""Seconds that an input may take."""
TODAY = date(2027, 3, 1)
_SOME = (
    b"", b"\0", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b'"', b"\n", b"\r", b",", b";", b"\t", b"'",
    b"=1+1", b"<", b">", b"&", b"]]>", b"-1", b"1e999", b"9" * 40, "١٢".encode(), b"nan", b"..",
    "\u202e🎁".encode(), b"\x1b[31m", b"A" * 5000, b"/" * 30, b"PK\x03\x04", b"[" * 300, b"{" * 300,
    b"#REF!", b"1/0", b"\xed\xa0\x80", b"10000000000000000", b"inf", b"0", b"\x7f", b"\xc2\x85",
)  # fmt: skip
_CELLS = (
    "", "NaN", "Infinity", "-1", "1e9", "0", "null", "[]", "{}", "\x1b[31mred", "a\u202eb", "a\nb",
    " a ", "999999999999", "1000000000000000", "yes", "2027-13-01", "9999-12-31", "0001-01-01",
    "undone", "'", "''", "=1", "x" * 300, "\u200b", "S-1", "1", "2", "3",
)  # fmt: skip


class Sandbox:
    """A folder with a small shop in it, a backup and an archive of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.shop = folder / "shop.sqlite"
        with open_shop(self.shop, create=True, unit="cm") as shop:
            with shop.begin() as session:
                add_paper(session, "Card", colour="black", grammage=250)
                add_sheets(session, "Card", (cm(50), cm(70)), 9, place="Shelf")
                add_offcut(session, "Card", (cm(20), cm(30)), place="Box / Tray")
                add_order(session, "Ines", "gift-tag", {}, {"all": "Card"}, 1, TODAY, TODAY)
            export_shop(shop, folder / "shop.zip")
            self.backup = back_up(shop, folder / "backup.sqlite").read_bytes()
        self.archive = (folder / "shop.zip").read_bytes()
        self.whole = self.shop.read_bytes()


def _spoilt(rng: random.Random, data: bytes) -> bytes:
    """Return what is left of a file after one to four accidents."""
    deeds: list[tuple[Any, ...]] = []
    for _ in range(rng.randint(1, 4)):
        place = rng.random()
        deeds.append(rng.choice([
            ("cut short", place),
            ("flip", place, rng.randrange(8)),
            ("take out", place, rng.randint(1, 200)),
            ("put in", place, rng.choice(_SOME)),
            ("write over", place, rng.choice(_SOME)),
            ("write over", place, rng.randbytes(rng.randint(1, 8))),
            ("double", place, rng.randint(1, 400)),
            ("in other letters", rng.choice(["utf-16", "utf-32", "cp1252"])),
        ]))  # fmt: skip
    return spoil(data, deeds)


def _spoilt_member(rng: random.Random, data: bytes, names: list[str] | None = None) -> bytes:
    files = members(data)
    name = rng.choice(names or sorted(files))
    files[name] = _spoilt(rng, files[name])
    return zipped(_signed(files))


def _signed(files: dict[str, bytes]) -> dict[str, bytes]:
    """Return an archive's files with the sums of all tables made to match."""
    try:
        manifest = json.loads(files["manifest.json"])
        for table in manifest["tables"]:
            table["sha256"] = hashlib.sha256(files[table["file"]]).hexdigest()
        return {**files, "manifest.json": json.dumps(manifest).encode()}
    except (KeyError, ValueError, TypeError):
        return files


def _other_cells(rng: random.Random, data: bytes) -> bytes:
    """Return an archive with odd values in a few of its cells."""
    files = members(data)
    for _ in range(rng.randint(1, 2)):
        while True:
            name = rng.choice([name for name in files if name.endswith(".csv")])
            rows = list(csv.reader(io.StringIO(files[name].decode(), newline="")))
            if len(rows) > 1:
                break
        row = rng.choice(rows[1:])
        row[rng.randrange(len(row))] = rng.choice(_CELLS)
        files[name] = as_csv(rows)
    return zipped(_signed(files))


# --- the readers -------------------------------------------------------------------------------


def _in_shop(read: Callable[[Session, Path], object]) -> Callable[[Sandbox, Path], None]:
    def reader(sandbox: Sandbox, path: Path) -> None:
        class Enough(Exception):
            pass

        with open_shop(sandbox.shop) as shop:
            try:
                with shop.begin() as session:
                    read(session, path)
                    raise Enough
            except Enough:
                pass

    return reader


_LIST_READERS: dict[str, Callable[[Sandbox, Path], object]] = {
    "papers": _in_shop(import_lists.import_papers),
    "sheets": _in_shop(lambda s, path: import_lists.import_sheets(s, path, Unit.CM)),
    "offcuts": _in_shop(lambda s, path: import_lists.import_offcuts(s, path, Unit.CM)),
    "orders": _in_shop(lambda s, path: import_orders(s, path, TODAY)),
    "counts": _in_shop(lambda s, path: compare_counts(s, read_counts(path))),
    "pieces": lambda _, path: read_problem(path, path, Unit.CM, Cuts.STRAIGHT),
    "prices": _in_shop(
        lambda s, path: read_prices(s, path, Unit.CM, today=TODAY, supplier="Paper Ltd")
    ),
    "postage": _in_shop(import_postage),
}
_PARTS = (
    "xl/worksheets/sheet1.xml", "xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/styles.xml",
    "[Content_Types].xml", "xl/_rels/workbook.xml.rels",
)  # fmt: skip


def _list(rng: random.Random, sandbox: Sandbox) -> None:
    kind = rng.choice(sorted(LISTS))
    path = sandbox.folder / "list.csv"
    path.write_bytes(_spoilt(rng, as_csv(LISTS[kind])))
    _LIST_READERS[kind](sandbox, path)


def _workbook(rng: random.Random, sandbox: Sandbox) -> None:
    kind = rng.choice(sorted(LISTS))
    path, whole = sandbox.folder / "list.xlsx", as_workbook(LISTS[kind])
    part = rng.random() < 0.7
    path.write_bytes(_spoilt_member(rng, whole, list(_PARTS)) if part else _spoilt(rng, whole))
    _LIST_READERS[kind](sandbox, path)


def _design(rng: random.Random, sandbox: Sandbox) -> None:
    path = sandbox.folder / "own.toml"
    path.write_bytes(_spoilt(rng, STARTER_TEXT.encode()))
    read_custom_design(read_design_file(path), path.name)


def _archive(rng: random.Random, sandbox: Sandbox) -> None:
    how = rng.choice([_spoilt, _spoilt_member, _other_cells, _other_cells])
    _bring_back(sandbox, how(rng, sandbox.archive), import_shop)


def _backup(rng: random.Random, sandbox: Sandbox) -> None:
    _bring_back(sandbox, _spoilt(rng, sandbox.backup), restore)


def _bring_back(sandbox: Sandbox, data: bytes, reader: Callable[[Path, Path], object]) -> None:
    path, target = sandbox.folder / "damaged", sandbox.folder / "new.sqlite"
    path.write_bytes(data)
    try:
        reader(path, target)
        with open_shop(target) as shop:
            assert check_shop(shop).faults == []
    finally:
        for end in ("", "-wal", "-shm"):
            Path(f"{target}{end}").unlink(missing_ok=True)


_SEARCHES = {
    ("demo",), ("fit",), ("estimate",), ("batch", "plan"), ("batch", "mend"), ("batch", "spoil"),
    ("buy", "plan"), ("design", "sizes"), ("design", "sheets"), ("stash", "makes"),
}  # fmt: skip
_WORDS = (
    "S-1", "K-1", "Card", "5x5cm", "5mm", "Shelf", "gift-tag", "1", "red", "2027-03-14", "reel",
    "all=Card", "x=y", "-1", "0", "nan", "1e999", "9" * 400, "x" * 10_000, "", " ", "\n", "\0",
    "\x1b[31m", "\u202e🎁", "\ud800", "a/b", "../x", "none.csv", "--json", "--help", "--", "{0}%s",
    "١٢", "1/0cm", "½in", "K-999999999999999999999", "=1+1", "a;b;c", "Card; 50x70cm; 2; 25; 31.25",
)  # fmt: skip


def _arguments(rng: random.Random, sandbox: Sandbox) -> None:
    leaf = rng.choice([leaf for leaf in list_commands() if leaf.words not in _SEARCHES])
    words = list(leaf.words)
    options = [one.opts[0] for one in leaf.command.params if one.param_type_name == "option"]
    words += [
        rng.choice(options if options and rng.random() < 0.4 else _WORDS)
        for _ in range(rng.randint(0, 5))
    ]
    # What is written is written into the sandbox, by whatever name.
    words = [word for word in words if word not in ("--replace", "../x")]
    code, said = run(*words)
    sandbox.shop.write_bytes(sandbox.whole)
    for end in ("-wal", "-shm"):
        Path(f"{sandbox.shop}{end}").unlink(missing_ok=True)
    assert code in (0, 1, 2, 3), (words, code)
    assert "fault of the program" not in said, (words, said[:500])
    assert "Traceback" not in said, (words, said[:500])


READERS: dict[str, Callable[[random.Random, Sandbox], None]] = {
    "lists": _list,
    "workbooks": _workbook,
    "designs": _design,
    "archives": _archive,
    "backups": _backup,
    "arguments": _arguments,
}


# --- trying ------------------------------------------------------------------------------------


@contextmanager
def _at_most(seconds: int) -> Iterator[None]:
    def late(*_: object) -> None:
        raise AssertionError(f"it took more than {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def try_input(sandbox: Sandbox, kind: str, seed: str) -> str:
    """Let a reader read what chance has spoilt.

    Returns
    -------
    str
        ``read`` or ``refused``.

    Raises
    ------
    AssertionError
        If it is neither, takes too long, or leaves something behind.
    """
    rng = random.Random(seed)
    before_folder, before_shop = Path.cwd(), os.environ.get(PATH_VARIABLE)
    inside = sandbox.folder / "inside"
    inside.mkdir(exist_ok=True)
    around = {path.name for path in sandbox.folder.iterdir()}
    os.chdir(inside)
    os.environ[PATH_VARIABLE] = str(sandbox.shop)
    verdict = "read"
    try:
        with _at_most(LONGEST):
            READERS[kind](rng, sandbox)
    except Refusal as refusal:
        said = str(refusal)
        assert said, (kind, seed)
        assert all(c.isprintable() or c in _HARMLESS for c in said), (kind, seed, said)
        assert len(said) < 1000 + len(str(sandbox.folder)), (kind, seed, said)
        verdict = "refused"
    except Exception as fault:
        raise AssertionError(f"{kind}, seed {seed}: {fault!r}"[:2000]) from fault
    finally:
        os.chdir(before_folder)
        if before_shop is None:
            del os.environ[PATH_VARIABLE]
        else:
            os.environ[PATH_VARIABLE] = before_shop
    ours = {"list.csv", "list.xlsx", "own.toml", "damaged", "shop.sqlite-wal", "shop.sqlite-shm"}
    left = {path.name for path in sandbox.folder.iterdir()} - around - ours
    left = {name for name in left if kind != "arguments" or not name.startswith("shop.backup")}
    assert not left, (kind, seed, left)
    return verdict
