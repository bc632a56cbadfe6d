"""Liquids of known pH that people have at hand: standard buffers and household liquids, each with its honest width."""
