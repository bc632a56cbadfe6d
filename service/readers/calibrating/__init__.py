"""Calibrating in the background: a photo looked at for a draft, a profile worked out, a control strip read.

What runs in a worker process stands in `jobs`; `under_way` starts, follows and ends it.
"""
