"""The log: tables, migrations, photos by hash, entries and notes, and what is derived from them.

It adds and never changes; it reads no photo and knows no HTTP.
"""
