"""Measure how long the command takes to start: its help, and lists from a shop with nothing in it.

    python tests/benchmarks/start_up.py --runs 9

Prints a Markdown table with the median and the slowest run of each command.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median

NEW_SHOP = ("shop", "new", "Measured")
MEASURED = (("--help",), ("stash", "list"), ("paper", "list", "--json"))


def command() -> str:
    """Return the path of the installed command.

    Raises
    ------
    FileNotFoundError
        If it is not installed beside this Python or on the path.
    """
    beside = Path(sys.executable).with_name("quirebox")
    found = str(beside) if beside.exists() else shutil.which("quirebox")
    if found is None:
        raise FileNotFoundError("the command quirebox is not installed")
    return found


def run(arguments: Sequence[str], environment: dict[str, str]) -> float:
    """Run the command once and return the seconds it took.

    Raises
    ------
    subprocess.CalledProcessError
        If it fails.
    """
    begun = time.perf_counter()
    subprocess.run(
        [command(), *arguments], env=environment, check=True, capture_output=True, text=True
    )
    return time.perf_counter() - begun


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--runs", type=int, default=9, metavar="N", help="run each N times")
    return parser.parse_args()


def main() -> None:
    """Measure, in a home of its own that is thrown away."""
    given = _arguments()
    print("| command | runs | median s | slowest s |\n| --- | ---: | ---: | ---: |")
    with tempfile.TemporaryDirectory() as home:
        environment = {
            **os.environ,
            "HOME": home,
            "XDG_DATA_HOME": home,
            "QUIREBOX_SHOP": str(Path(home, "shop.sqlite")),
        }
        run(NEW_SHOP, environment)
        for arguments in MEASURED:
            run(arguments, environment)  # compiled files and caches are made once
            seconds = [run(arguments, environment) for _ in range(given.runs)]
            words = " ".join(("quirebox", *arguments))
            row = f"| `{words}` | {given.runs} | {median(seconds):.3f} | {max(seconds):.3f} |"
            print(row)


if __name__ == "__main__":
    main()
