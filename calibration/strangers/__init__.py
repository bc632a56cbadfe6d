"""Photos that are strangers among those of a calibration: another print of the card, another strip in one liquid.

Liquids that were mixed up are ``calibration.liquids``' business; what is said of both stands here.
"""
