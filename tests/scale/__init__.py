"""Logs as large as a club's after years, made fast: what each request costs as the log grows."""
