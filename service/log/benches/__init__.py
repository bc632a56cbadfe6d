"""Benches beside each other in one log: who they are, whose a batch is, what opens the door, who asks now.

A log without benches is one bench's: whoever comes in sees all of it, as the keeper does.
"""
