"""The names of the input contract in a source, and what looks like them."""
