"""What tint and solid share: vessels over the card's two windows, bare paper around them, the liquid's mean.

It measures and never judges.
"""
