"""A few of the many: damaged shops, and spoilt inputs for every reader.

``python -m tests.benchmarks.damage`` and ``python -m tests.benchmarks.fuzz`` try thousands.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.damaged_shops import KINDS, backed_up, try_one
from tests.fuzzing import READERS, Sandbox, try_input


@pytest.fixture(scope="module")
def backup(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, object]]:
    return backed_up(tmp_path_factory.mktemp("damaged"), seed=1, deeds=15)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_changed_in_a_shop_is_found(
    tmp_path: Path, backup: tuple[Path, dict[str, object]], kind: str, seed: int
) -> None:
    whole, before = backup
    verdict = try_one(tmp_path, whole, before, kind, f"suite {seed}")
    assert verdict == "found" or kind == "bit"


@pytest.fixture(scope="module")
def sandbox(tmp_path_factory: pytest.TempPathFactory) -> Sandbox:
    return Sandbox(tmp_path_factory.mktemp("sandbox"))


@pytest.mark.parametrize("kind", READERS)
def test_spoilt_inputs_are_read_or_refused(sandbox: Sandbox, kind: str) -> None:
    seen = {try_input(sandbox, kind, f"suite {number}") for number in range(8)}
    assert seen <= {"read", "refused"}
