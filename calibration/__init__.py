"""Learning a strip kind or a tint response from photos whose truth is known."""
