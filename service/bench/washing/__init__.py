"""Washes: how acid and lye go with each decant, what water ends at, and how many washes are to come.

Arithmetic only, as in the room around it.
"""
