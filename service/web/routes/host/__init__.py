"""Addresses of the bench computer itself: joining it, trusting it, its back-up, its demo, how it does."""
