"""What people take away: layers, map, notices, summary; drawn from a plan, never planning anything."""
