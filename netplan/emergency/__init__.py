"""Somebody has hit a main: what to shut, in which order, who loses gas. Answered by connectivity first.

``EmergencyTables`` holds what every question about one network shares; ``hit_places`` finds what was hit;
``closest_ring`` parts it from every station by a minimum cut priced in time; ``emergency_answer`` makes the
whole first answer, without any flow, and ``solved_rings`` adds pressures to it.
"""
