"""What faces people: the command line, the HTTP service, the log and the bench arithmetic."""
