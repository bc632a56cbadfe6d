"""Who asks, the keeper or a bench, and what a bench may ask for: decided once, before anything answers."""
