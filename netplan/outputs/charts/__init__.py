"""Pictures for the bypass engineer, as SVG and PNG: drop, weather, pressure along the worst path.

    figure = drop_chart(curves, working_flow, working_drop, figures)
    figure = weather_chart(curves, required_pa, design_air_temp_c, figures)
    figure = path_chart(distance_m, before_pa, after_pa, minimum_pa, required_pa, marks, figures)
    write_chart(figure, folder, "bypass-drop")       # bypass-drop.svg and bypass-drop.png

Drawn with matplotlib's own objects, without its state machine and without touching its settings for good;
the same figures give the same bytes.
"""

from netplan.outputs.charts.chart_format import chart_png, chart_svg, write_chart
from netplan.outputs.charts.feed_charts import PathMark, drop_chart, path_chart, weather_chart

__all__ = [
    "PathMark",
    "chart_png",
    "chart_svg",
    "drop_chart",
    "path_chart",
    "weather_chart",
    "write_chart",
]
