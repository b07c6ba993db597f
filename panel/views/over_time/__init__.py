"""After-feel and courses over time in words, tables and pictures."""
