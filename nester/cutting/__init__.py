"""From a layout to the order of cuts, its words and its time."""

from nester.cutting.duration import USUAL_PACE, Pace, cutting_minutes
from nester.cutting.instructions import Step, cautions, offcut_name, step_text, steps, told_steps
from nester.cutting.sequence import CUT_WORTH, NotSeparable, cut_order, separable
from nester.cutting.stages import stages_needed

__all__ = [
    "CUT_WORTH",
    "USUAL_PACE",
    "NotSeparable",
    "Pace",
    "Step",
    "cautions",
    "cut_order",
    "cutting_minutes",
    "offcut_name",
    "separable",
    "stages_needed",
    "step_text",
    "steps",
    "told_steps",
]
