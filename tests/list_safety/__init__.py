"""Mutants of meaning: the same customers on the list, or a finding that says what is doubtful; never silence."""
