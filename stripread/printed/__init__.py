"""A freshly printed card, nothing laid on it, judged from one photo: is this print good enough to work with?

It looks at the card alone and knows no strip, no profile and no calibration.
"""
