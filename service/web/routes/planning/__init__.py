"""Plans over HTTP that have a file of their own, one a subject."""
