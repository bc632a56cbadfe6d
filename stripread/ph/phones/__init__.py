"""Phones and lights that a profile's photos were taken by, and whether a photo to be read is one more of them."""
