"""Labels to cut out for the vessels of a batch: what is in each by the log, and the warnings that go with it.

It is told what the vessels hold and looks nothing up; it replaces no label that the law asks for.
"""
