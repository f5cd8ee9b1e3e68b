"""Random orders of the planning page saved by page and by command: ``python -m tests.whole_page``."""
