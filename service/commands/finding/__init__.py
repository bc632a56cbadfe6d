"""Commands on the whole log: finding again, comparing, sharing, the phones, closing and opening again."""
