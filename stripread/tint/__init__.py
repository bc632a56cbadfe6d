"""Copper by its ammonia blue: sample against blank to absorbance, mg/L and a decision with a detection limit.

`read` is the whole path of a photo; it shares nothing with solids and pH but the card and the windows.
"""
