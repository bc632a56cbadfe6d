"""What the addresses of calibrations and profiles take and give, and rows of the log put into that form."""
