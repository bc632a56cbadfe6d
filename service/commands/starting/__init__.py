"""Commands about how the service is started: by a press instead of a typed line."""
