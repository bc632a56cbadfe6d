"""The chain that ties every row of the log to the row before it, and the guards that let the database change none.

It knows tables, no readings and no photos: what a row means is checked elsewhere.
"""
