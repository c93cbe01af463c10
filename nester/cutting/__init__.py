"""From a layout to the order of cuts, its words and its time."""

from nester.cutting.duration import DEFAULT_PACE, Pace, cutting_minutes
from nester.cutting.instructions import (
    CuttingStep,
    cutting_instructions,
    cutting_steps,
    measure_note,
    offcut_name,
    safety_notes,
)
from nester.cutting.measures import MEASURE_TOLERANCE, PrintedMeasures
from nester.cutting.sequence import CUT_COST, NotGuillotineError, is_guillotine, plan_cuts
from nester.cutting.stages import stages_needed

__all__ = [
    "CUT_COST",
    "DEFAULT_PACE",
    "MEASURE_TOLERANCE",
    "CuttingStep",
    "NotGuillotineError",
    "Pace",
    "PrintedMeasures",
    "cutting_instructions",
    "cutting_minutes",
    "cutting_steps",
    "is_guillotine",
    "measure_note",
    "offcut_name",
    "plan_cuts",
    "safety_notes",
    "stages_needed",
]
