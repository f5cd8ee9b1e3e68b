"""Whole plans of random towns, checked from raw layers and the files of the plan folder alone.

`towns` draws a town, `making` lets the program plan it, the other modules check and import nothing of the
program. ``python -m tests.whole_plan SEED`` writes the town and the plan of a seed and says what deviates.
"""
