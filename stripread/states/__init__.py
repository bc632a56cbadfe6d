"""States as a person sees them: the one table of words, signs and colours, and what reads it."""
