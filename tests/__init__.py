"""Tests: laws, outside values, own regressions and benchmarks, kept apart by where their truth comes from."""
