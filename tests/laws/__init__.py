"""Laws that hold for every network."""
