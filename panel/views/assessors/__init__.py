"""The panel check in words, tables and pictures."""
