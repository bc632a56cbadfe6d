"""Labels for vessels: what they say of which contents, and what the printed sheet holds."""
