"""From one phone photo to a measurement: find the card, correct the light, infer, or refuse."""

__version__ = "0.1.0"
