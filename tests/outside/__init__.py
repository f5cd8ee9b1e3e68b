"""Checks against published standards, tables, open data and reference libraries."""
