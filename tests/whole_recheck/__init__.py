"""Issued plans of random towns, whose records change before the morning of the work."""
