"""Each claim of the README that DEVELOPERS.md lists has a test that is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
_TABLE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("<!-- claims:")[1]
CLAIMS = re.findall(r"^\| (.+?) \| `(.+?)::(.+?)` \|$", _TABLE, re.MULTILINE)


def test_the_list_is_read() -> None:
    assert len(CLAIMS) > 15


@pytest.mark.parametrize(("claim", "file", "test"), CLAIMS)
def test_a_claim_has_its_test(claim: str, file: str, test: str) -> None:
    assert f"def {test}(" in (ROOT / file).read_text(encoding="utf-8"), claim
