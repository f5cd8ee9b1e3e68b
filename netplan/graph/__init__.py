"""Algorithms on graphs in arrays; nothing here knows of gas."""
