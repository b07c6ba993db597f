"""Ranks within people."""
