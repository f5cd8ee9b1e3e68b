"""The invented town: the script that makes it, in small rooms."""
