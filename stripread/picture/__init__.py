"""Pictures of readings, drawn from what the stages came to.

They show and never compute: a number in a picture comes from the reading.
"""
