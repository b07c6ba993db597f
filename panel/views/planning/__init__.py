"""The study, its plan, servings, safety and ballots in words and tables."""
