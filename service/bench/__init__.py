"""The arithmetic of a batch: rinse water, washes, silver losses, reagents, mass balance, waste, stages, report.

Pure functions on numbers and frozen dataclasses; nothing here knows the web service, the log or a photo. Every result
carries a range, because none of these models is better than the bench it describes.
"""
