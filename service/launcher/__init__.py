"""Files that start the service with a press: a desktop entry, a script for a double click; written, never run here.

It knows how each system writes a command down; it knows nothing of the service.
"""
