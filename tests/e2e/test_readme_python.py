"""The README's example in Python, pasted into an empty folder and run."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

from tests.e2e.conftest import README

SENTENCE = r"(\d+) sheets for (\d+\.\d+), no plan costs less than (\d+\.\d+)\n"


def python_example() -> str:
    """Return the one block of Python in the README."""
    (block,) = re.findall(r"^```python\n(.*?)^```", README.read_text(encoding="utf-8"), re.M | re.S)
    return block


def test_the_python_example_works_when_pasted(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", python_example()],
        cwd=tmp_path,
        # Without HOME and the shop's variables: the example needs neither a home nor a shop.
        env={"PATH": os.environ.get("PATH", ""), "LANG": "C.UTF-8"},
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    printed = re.fullmatch(SENTENCE, done.stdout)
    assert printed, done.stdout
    sheets, cost, lower_bound = int(printed[1]), float(printed[2]), float(printed[3])
    assert sheets > 0
    assert 0 < lower_bound <= cost

    drawings = sorted(path.name for path in tmp_path.iterdir())
    # A layout can be cut from several sheets, so there are at most as many drawings as sheets.
    assert 1 <= len(drawings) <= sheets
    assert drawings == [f"layout-{number}.svg" for number in range(1, len(drawings) + 1)]
    for name in drawings:
        root = ElementTree.parse(tmp_path / name).getroot()  # noqa: S314
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert len(root) > 0
