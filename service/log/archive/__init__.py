"""A log as one file and back: a tar with the database of one moment, the photos and profiles that it names, and hashes.

It copies and checks; it knows nothing of readings and no HTTP.
"""
