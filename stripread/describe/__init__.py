"""An unused strip measured from one photo, so that its kind can be written down without a ruler or a text file.

Outline, pads and what is unsure of them; it knows no kind beforehand, no pH and no profile.
"""
