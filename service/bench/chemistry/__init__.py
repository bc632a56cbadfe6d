"""Silver's equilibria, lye, sugar and water, and the balance of where the silver went.

Plain values in, typed plans out; every constant has its source beside it.
"""
