"""What tests stand on: towns, oracles and references, none of it a test."""
