"""The planning page: a server on this machine's loopback alone, with network and tables kept warm.

``map_tiles`` cuts the map from the arrays in memory, ``access`` lets in the page that was opened and nobody
else, ``server`` answers, ``planning_worker`` plans in a process of its own that a newer order cancels.
"""
