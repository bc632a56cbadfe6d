"""Plans on the command line that have a room of their own: one command a file."""
