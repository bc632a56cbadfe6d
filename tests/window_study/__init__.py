"""Tints and solids judged on hundreds of photos of one world: each a row of a table that is kept, then counted."""
