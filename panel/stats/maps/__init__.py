"""Maps, groups and draws of people."""
