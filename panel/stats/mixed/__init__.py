"""Mixed models: fits, their moments, and what follows from them."""
