"""Damaged data: seeded mutants of whole networks, which must never bring more than one line and an exit code."""
