"""Tables of facts with their sources: gases, pipe sizes, profiles."""
