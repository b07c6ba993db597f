"""Whom to talk to about what, one person beside the others, and what use of the scale changes."""
