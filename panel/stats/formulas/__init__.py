"""Blends: their geometry, designs, models and targets."""
