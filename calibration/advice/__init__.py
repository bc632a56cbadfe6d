"""What a calibration shows and asks for while it is made: its curve, photos that do not fit, the next liquid."""
