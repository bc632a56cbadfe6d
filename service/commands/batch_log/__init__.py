"""What the command line does to entries that are in the log already: the timeline, corrections, answers."""
