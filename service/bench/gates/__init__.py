"""Gates: open, hold or cannot tell, and why, for each kind of proof that a stage asks for.

They judge readings, weighings and notes that are handed to them; a gate claims no more than they prove.
"""
