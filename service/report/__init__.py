"""The report of a batch as HTML and PDF, with its plots.

It draws one `BatchRecord` and looks nothing up.
"""
