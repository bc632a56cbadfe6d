"""Codes of labels found in photos. It says what the codes are; whose they are is the log's to say."""
