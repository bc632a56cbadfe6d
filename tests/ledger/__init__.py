"""The ledger of vessels: three batches worked as stories, laws of its arithmetic, and silver back from the stock."""
