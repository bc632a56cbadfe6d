"""Calibrations in the making, the profiles they lead to by name and version, and control strips read with these.

Like phones and stages these rows stand beside the chain; photos and profile texts that they name are in it.
"""
