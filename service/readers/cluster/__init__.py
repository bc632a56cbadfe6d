"""Photos read by workers of a Dask cluster, also on other computers: what is sent, what runs there, what comes back.

The workers get bytes and give readings; they know no log, so that one that dies loses nothing and doubles nothing.
"""
