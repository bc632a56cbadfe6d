"""The page's capture assistant without a browser: its own modules in node, on rendered streams of frames."""
