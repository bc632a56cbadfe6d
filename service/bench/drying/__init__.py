"""How a metal dries: its weighings fitted, the hours to go and the water still in it foretold.

It opens no gate and looks nothing up; where the weighings do not fall as a drying does it says so.
"""
