"""Joined networks kept on disk."""
