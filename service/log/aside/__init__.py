"""Rows that make the log easier to use and prove nothing: each batch's stage, the phones that took the photos."""
