"""Comparing means and shares: tests, intervals, many at a time, and how large a study must be."""
