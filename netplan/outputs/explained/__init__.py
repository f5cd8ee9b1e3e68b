"""Explanations of figures as plain text."""

from netplan.outputs.explained.text import explanation_lines, figure_lines

__all__ = ["explanation_lines", "figure_lines"]
