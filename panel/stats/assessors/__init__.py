"""One assessor against the others."""
