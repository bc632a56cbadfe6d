"""What is in the vessels: contents, dangerous pairs, what neutralises them, and what stays dissolved.

Computed from what was poured; nothing here writes the log, and unknown words are asked about, never passed.
"""
