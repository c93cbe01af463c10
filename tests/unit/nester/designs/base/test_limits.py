from __future__ import annotations

import pytest

from nester.core.lengths import Unit, cm, inch, mm
from nester.designs.base.errors import DesignRefusal
from nester.designs.base.limits import check_at_least, check_at_most
from nester.designs.base.settings import capped_default, smallest_of

SIZES = {"width": cm(4), "height": cm(2)}


def test_a_limit_itself_is_taken() -> None:
    check_at_most(SIZES, "width", cm(4), "is too wide", Unit.CM)
    check_at_least(SIZES, "width", cm(4), "is too narrow", Unit.CM)


def test_a_length_beyond_its_limit_is_refused_with_both() -> None:
    with pytest.raises(DesignRefusal) as refusal:
        check_at_most(SIZES, "width", cm(3), "is too wide", Unit.CM)
    assert str(refusal.value) == "width 4 cm is too wide; it may be at most 3 cm"
    with pytest.raises(DesignRefusal) as refusal:
        check_at_least(SIZES, "width", cm(5), "is too narrow", Unit.CM)
    assert str(refusal.value) == "width 4 cm is too narrow; it must be at least 5 cm"


def test_no_limit_below_nothing_is_shown() -> None:
    with pytest.raises(DesignRefusal, match="at most 0 mm"):
        check_at_most(SIZES, "height", mm(-3), "leaves nothing", Unit.MM)


def test_a_capped_default_is_round_and_smaller_on_small_sides() -> None:
    shorter = smallest_of("width", "height")
    default = capped_default(mm(5), inch("0.25"), shorter, 4)
    assert default(SIZES, Unit.MM) == mm(5)
    assert default(SIZES, Unit.IN) == inch("3/16")
    assert default({**SIZES, "height": mm(10)}, Unit.MM) == mm(2)
