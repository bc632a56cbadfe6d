"""Commands that look after the log's database: sums counted anew, the move to another database."""
