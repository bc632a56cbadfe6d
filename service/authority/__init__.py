"""The service's own certificate authority: one key that phones may trust, and the server's certificate signed with it.

It knows names, addresses, keys and times; it knows no HTTP and no log.
"""
