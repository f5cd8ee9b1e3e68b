"""Gas to vent, to purge out and to bring back; array-level, knows nothing of stops or options.

content = line_content(length_m, bore_m, pressure_pa_gauge, ground_temperature_k, gas,
                       METRIC_STANDARD) -> LineContent      # arrays over the zone's pipes
gap = gap_content(gap_m, bore_m, pressure_pa_gauge, ground_temperature_k, gas)   # double stops
figures = vent_figures(content + gap, gas, volumes_in=2.0, kg_co2e_per_kg=28.0) -> VentFigures
methane_kg(volume_m3, gas, reference)                       # [kg]
"""

from netplan.venting.content import LineContent, gap_content, geometry_m3, line_content
from netplan.venting.figures import COMPARED_POTENTIALS, VentFigures, methane_kg, vent_figures

__all__ = [
    "COMPARED_POTENTIALS",
    "LineContent",
    "VentFigures",
    "gap_content",
    "geometry_m3",
    "line_content",
    "methane_kg",
    "vent_figures",
]
