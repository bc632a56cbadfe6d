"""For every reason a case just inside its limit and one just outside, by the stage that gives it.

The limits stand here as figures of their own, not as the stage's constants: a limit that moves has to move here too, by
somebody who means it.
"""
