"""Somebody has hit a main: what to shut, in which order, who loses gas. Answered by connectivity first.

``EmergencyTables`` holds what every question about one network shares; ``kept_tables`` keeps it.
``hit_places`` finds what was hit, ``ring_search`` parts it from every station by a minimum cut,
``answer`` makes the whole first answer without any flow, ``next_rings`` adds the rings that are ready in case
valves fail to shut, and ``solved_rings`` adds the pressures while a ring closes.
"""
