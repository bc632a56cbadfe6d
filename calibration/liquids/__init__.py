"""Liquids of known pH: which people have at hand, each with its honest width; which helps next."""
