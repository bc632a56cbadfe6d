"""A solid in the sample window: its colour and the share of it that is still pale.

`read` is the whole path of a photo; it shares nothing with tints and pH but the card and the windows.
"""
