"""How long a large stash takes: ``python tests/benchmarks/stash.py`` (CPU seconds of this process).

An invented stash: 10,000 lines of sheets and 20,000 offcuts of 40 papers, from lists.
"""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from inventory import stash
from inventory.cutting import last_deed, undo_deed
from inventory.finding import find_stash, offcuts_for
from inventory.imports import import_offcuts, import_sheets
from inventory.shop import open_shop
from nester.measure import Unit, mm

PAPERS, LINES, OFFCUTS = 40, 10_000, 20_000


def measure(what: str, deed: Callable[[], Any]) -> None:
    began = time.process_time()
    deed()
    print(f"{what:42} {time.process_time() - began:6.2f} s")


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
    rng = random.Random(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheets, offcuts = write_lists(folder, rng)
        with open_shop(folder / "shop.sqlite", create=True) as shop:
            with shop.begin() as session:
                for number in range(PAPERS):
                    swatch = f"{rng.randrange(2**24):06x}"
                    stash.add_paper(
                        session, f"Paper {number}", colour="c", grammage=200, swatch=swatch
                    )
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
                    lambda: find_stash(session, colour="darkgreen", near=30, now=now),
                )
                measure("list the whole stash", lambda: stash.list_stash(session))
            with shop.begin() as session:
                measure("take the offcuts back", lambda: undo_deed(session, last_deed(session).id))


if __name__ == "__main__":
    main()
