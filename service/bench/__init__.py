"""The arithmetic of a batch: silver, lye, reagents, waste, balance, stages and their gates.

Plain values in, plain values out: no log, no photo, no clock.
"""
