"""What the file of a procedure may say, told in words where it is wrong, and which stage a batch is in by its notes."""
