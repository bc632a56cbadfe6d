"""What the command line does to a batch that is in the log already: the timeline, corrections, another procedure."""
