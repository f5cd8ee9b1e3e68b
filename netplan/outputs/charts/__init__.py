"""Pictures for the bypass engineer, as SVG and PNG: drop, weather, pressure along the worst path.

    chart = drop_chart(curves, working_flow, working_drop, figures)
    chart = weather_chart(curves, required_pa, design_air_temp_c, figures)
    chart = path_chart(distance_m, before_pa, after_pa, minimum_pa, required_pa, marks, figures)
    write_chart(chart, folder, "bypass-drop")        # bypass-drop.svg and bypass-drop.png

Drawn by the typesetter of the papers; the same figures give the same bytes.
"""

from netplan.outputs.charts.chart import Chart
from netplan.outputs.charts.drop import drop_chart
from netplan.outputs.charts.files import chart_png, chart_svg, write_chart
from netplan.outputs.charts.path import PathMark, path_chart
from netplan.outputs.charts.weather import weather_chart

__all__ = [
    "Chart",
    "PathMark",
    "chart_png",
    "chart_svg",
    "drop_chart",
    "path_chart",
    "weather_chart",
    "write_chart",
]
