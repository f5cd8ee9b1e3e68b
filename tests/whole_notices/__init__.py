"""Pairs of plans of one work in random towns, and the notices of their difference checked from files alone.

`pairs` draws a town, changes it and lets the program plan it twice; `expected` and `check` read plan.json, plan.gpkg
and the folder of the notices and import nothing of the program. ``python -m tests.whole_notices 0:180``.
"""
