"""From a priced cut to an option as it stands in plan.json, and its solved state."""
