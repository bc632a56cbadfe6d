"""The printed card: its layout, and how it is found in a photo, laid flat and sampled.

It knows marks, patches and exposure; nothing of strips, liquids or colour correction.
"""
