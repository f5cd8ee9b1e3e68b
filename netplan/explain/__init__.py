"""Figures of a plan explained: formula, inputs with their origin, and the arithmetic, from the folder alone.

Nothing is taken over from the run that made the plan: every figure is worked out again from plan.json and
plan.gpkg with the numbers as they are printed, so that a pocket calculator gives the same result.
"""

from netplan.explain.explanation_sheet import (
    Explanation,
    Formula,
    GivenValue,
    SheetColumn,
    SheetTable,
    Sum,
    Worked,
    shown,
)
from netplan.explain.figure_index import FigureName, explain, figures_to_explain
from netplan.explain.path_lengths import PathLength

__all__ = [
    "Explanation",
    "FigureName",
    "Formula",
    "GivenValue",
    "PathLength",
    "SheetColumn",
    "SheetTable",
    "Sum",
    "Worked",
    "explain",
    "figures_to_explain",
    "shown",
]
