"""What is told to whoever watches the service: figures to scrape, and one line of the log a happening.

It counts what others do and decides nothing; who may ask for the figures is decided at their address.
"""
