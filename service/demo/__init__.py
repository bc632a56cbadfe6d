"""The made-up workshop: photos, profile, and a batch played into a log through the real reader.

Nothing else may depend on it but the demo's commands.
"""
