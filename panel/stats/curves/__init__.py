"""Curves: flow, force and intensity over time."""
