"""Plans cut by their printed words alone give every piece within the tolerance that is said.

The long form is `python -m tests.benchmarks.follow_words --plans 1000`.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from nester.core.lengths import UNITS_PER_MM
from nester.cutting import MEASURE_TOLERANCE, cutting_instructions
from tests.follow_words import TOLERANCE, WordsError, follow
from tests.plans_to_follow import faults_of_plan, plan_to_follow


@pytest.mark.parametrize("seed", range(5))
def test_words_cut_every_piece_within_the_tolerance(seed: int) -> None:
    assert faults_of_plan(*plan_to_follow(seed)) == []


def test_the_cutter_and_the_papers_mean_the_same_tolerance() -> None:
    assert Fraction(MEASURE_TOLERANCE, UNITS_PER_MM) == TOLERANCE


def test_the_cutter_notices_a_missing_step() -> None:
    problem, plan, unit = plan_to_follow(1)
    words = list(cutting_instructions(plan.layouts[0], unit, trimmer=problem.trimmer))
    sheet = problem.stock[0]
    size = (Fraction(sheet.width, UNITS_PER_MM), Fraction(sheet.height, UNITS_PER_MM))
    follow(*size, words)
    with pytest.raises(WordsError):
        follow(*size, words[1:])
