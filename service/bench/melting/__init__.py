"""From dry powder to bars: what a melt weighed, what its slag may hold, how fine a bar is.

Masses in air and in water and what was declared come in; nothing is looked up in a log here.
"""
