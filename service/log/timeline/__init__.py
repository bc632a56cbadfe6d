"""A batch as one list: what was photographed, written down and done, what is asked, and who corrected what and why."""
