"""Where the photos of a log lie: in its data folder, or in an object store by URL with copies kept beside the log.

It knows hashes and bytes; which entry names a photo, and what is in one, is not its matter.
"""
