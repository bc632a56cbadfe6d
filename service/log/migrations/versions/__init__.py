"""One step a file, in the order of their names."""
