"""Swaps, the ladder, readings and next prototypes in words, tables and pictures."""
