"""The page that a crew uses on the day of the work, its log, and the log against the plan."""
