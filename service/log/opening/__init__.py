"""What opening a log's database takes beside the engine: the form that it has, and reading where nobody may write."""
