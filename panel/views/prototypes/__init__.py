"""Differences and the map in words, tables and pictures."""
