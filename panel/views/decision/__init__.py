"""Decision, claims and evidence in words, tables and pictures."""
