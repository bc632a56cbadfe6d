"""The archive read again: many photos in chunks, on all cores or a cluster, gone on with after any end.

What is read is kept in a folder of its own, and nothing in the log is changed unless that is asked for.
"""
