"""Timings and simulations that are too long for the tests."""
