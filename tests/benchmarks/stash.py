"""How long a large stash takes: ``python -m tests.benchmarks.stash`` (seconds of CPU).

An invented stash: 10,000 lines of sheets and 20,000 offcuts of 40 papers, from lists.  First what
functions take in this process, then whole commands, each run so often that its median says much.
"""

from __future__ import annotations

import gc
import random
import resource
import subprocess
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

from sqlalchemy.orm import Session

from inventory.changes.undo import last_transaction, undo_transaction
from inventory.database.open import open_shop
from inventory.orders.orders import add_order, list_orders
from inventory.production.planning_data import PlanningData, wanted_papers
from inventory.stock import listing
from inventory.stock.import_lists import import_offcuts, import_sheets
from inventory.stock.papers import add_paper
from inventory.stock.search import find_page, offcuts_for
from nester.core.lengths import Unit, mm
from tests.benchmarks.start_up import command

PAPERS, LINES, OFFCUTS = 40, 10_000, 20_000
RUNS = 7
TODAY = date(2027, 3, 1)
COMMANDS = (
    ("stash", "list"),
    ("stash", "list", "--kind", "offcut"),
    ("stash", "find", "--colour", "darkgreen", "--near", "30"),
    ("offcut", "for", "12x18cm"),
    ("order", "board"),
    ("paper", "list"),
    ("place", "list"),
    ("shop", "show"),
)


def measure(what: str, deed: Callable[[], Any]) -> None:
    began = time.process_time()
    deed()
    print(f"{what:58} {time.process_time() - began:6.2f} s")


def read_to_plan(session: Session, papers: int) -> None:
    """Read what planning reads: the first orders, each of a paper of its own, and the stash."""
    PlanningData(
        session,
        list_orders(session)[:papers],
        partial(wanted_papers, {}),
        follow_grain=True,
        today=TODAY,
    )


def measure_commands(shop: Path) -> None:
    """Print the median and the most of what whole commands take."""
    quirebox = command()
    for words in COMMANDS:
        taken = []
        for _ in range(RUNS):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run([quirebox, "--shop", str(shop), *words], check=True, capture_output=True)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            taken.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        said = "quirebox " + " ".join(words)
        print(f"{said:58} median {median(taken):.2f} s, at most {max(taken):.2f} s")


def write_lists(folder: Path, rng: random.Random) -> tuple[Path, Path]:
    sheets = ["paper,size,quantity,price,place,lot"] + [
        f"Paper {rng.randrange(PAPERS)},{rng.randrange(200, 900)}x{rng.randrange(200, 900)}mm,"
        f"{rng.randrange(1, 50)},{rng.randrange(1, 500) / 100},"
        f"Shelf {rng.randrange(9)} / Drawer {rng.randrange(9)},L{rng.randrange(5)}"
        for _ in range(LINES)
    ]
    offcuts = ["paper,size,place"] + [
        f"Paper {rng.randrange(PAPERS)},{rng.randrange(75, 400)}x{rng.randrange(75, 500)}mm,"
        f"Shelf {rng.randrange(9)} / Box"
        for _ in range(OFFCUTS)
    ]
    paths = folder / "sheets.csv", folder / "offcuts.csv"
    for path, lines in zip(paths, (sheets, offcuts), strict=True):
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return paths


def main() -> None:
    gc.set_threshold(200_000, 20, 20)  # as in the command, see `inventory.start`
    rng = random.Random(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheets, offcuts = write_lists(folder, rng)
        with open_shop(folder / "shop.sqlite", create=True) as shop:
            with shop.begin() as session:
                for number in range(PAPERS):
                    swatch = f"{rng.randrange(2**24):06x}"
                    add_paper(session, f"Paper {number}", colour="c", grammage=200, swatch=swatch)
            with shop.begin() as session:
                measure(
                    "receive 10,000 lines of CSV", lambda: import_sheets(session, sheets, Unit.MM)
                )
            with shop.begin() as session:
                measure(
                    "put away 20,000 offcuts", lambda: import_offcuts(session, offcuts, Unit.MM)
                )
            with shop.read() as session:
                size, small = (mm(300), mm(300)), (mm(80), mm(80))
                now = datetime.now(UTC)
                measure("offcuts for a piece of 300 mm", lambda: offcuts_for(session, size))
                measure("offcuts for a piece of 80 mm", lambda: offcuts_for(session, small))
                measure(
                    "find by nearest colour",
                    lambda: find_page(session, None, colour="darkgreen", near=30, now=now),
                )
                measure("list the whole stash", lambda: listing.list_stash(session))
            with shop.begin() as session:
                for number in range(PAPERS):
                    add_order(
                        session, "Somebody", "gift-tag", {}, {"all": f"Paper {number}"}, 1,
                        TODAY, TODAY,
                    )  # fmt: skip
            with shop.read() as session:
                for papers in (1, 8, PAPERS):
                    measure(
                        f"read it to plan orders in {papers} papers",
                        partial(read_to_plan, session, papers),
                    )
            with shop.begin() as session:
                measure(
                    "take the offcuts back",
                    lambda: undo_transaction(session, last_transaction(session).id),
                )
                session.rollback()
        measure_commands(folder / "shop.sqlite")


if __name__ == "__main__":
    main()
