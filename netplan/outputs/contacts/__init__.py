"""The contact log: a notice list that comes back filled in, what it says, and what is still open."""
