"""How a photo becomes an entry: intake, the pool of processes that read, jobs made anew, a watched folder.

It knows the log and the library; it knows no HTTP.
"""
