"""The strip in the card's lane: found, fitted, its pads averaged and taken to CIELAB.

It works on the rectified card and the strip kind; it knows no pH and no profile.
"""
