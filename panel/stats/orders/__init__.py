"""Serving orders and incomplete blocks."""
