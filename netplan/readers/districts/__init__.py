"""Networks kept by district: an index of all districts made once, then only those near the work are read.

`district_sources` names the districts of a source, `build_index` makes the index district by district,
`near_network` reads and joins the districts that a work section needs.
"""
