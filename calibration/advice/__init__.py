"""What a calibration shows and asks for while it is made: its curve, and what each photo says of it."""
