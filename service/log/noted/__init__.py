"""Notes as the log's rows hold them, the damaged ones marked; the stock vessel by the notes of all batches."""
