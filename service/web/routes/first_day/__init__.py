"""Addresses of the first day: card, strip, liquids at hand, calibrations, and the profiles that come of them."""
