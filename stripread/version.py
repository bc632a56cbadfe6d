"""The version, where every module may take it from: the package's own ``__init__`` is its face and imports nothing."""

__version__ = "0.1.0"
