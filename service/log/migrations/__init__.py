"""Steps that bring a log's database to the form that this version needs."""
