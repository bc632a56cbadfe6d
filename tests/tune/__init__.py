"""Remaking chosen numbers, `python -m tests.tune NAME`: fitted on one half of the setups, judged on the other."""
