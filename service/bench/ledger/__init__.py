"""A batch's vessels: what is in each, how much of its silver, and where some may be missing.

It plays the batch's notes in their order over all its vessels with one fixed set of draws, so that ranges of one cause
stay together; then the weighings are held against it. It looks nothing up and writes no log.
"""
