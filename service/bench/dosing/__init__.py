"""How much silver chloride there is where nobody weighed it dry: by volume, by portions to an end, by metal expected.

Each answer has its range and says what the range rests on; none of it opens a gate.
"""
