"""What the commands share in a terminal: many photos on all cores, readings as lines of text, where pictures go.

It prints; the commands decide.
"""
