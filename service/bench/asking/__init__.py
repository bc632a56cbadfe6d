"""Which new entries are asked about before they count: one rule for the page, the API and the command line."""
