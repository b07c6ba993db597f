"""Counted answers, choices and categories."""
