"""What every package stands on: errors, findings, units, constants, sources."""
