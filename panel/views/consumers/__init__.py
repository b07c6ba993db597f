"""What consumers said in words, tables and pictures."""
