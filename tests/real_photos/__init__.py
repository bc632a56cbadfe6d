"""Somebody's own photos of liquids that were measured otherwise, judged like the rendered ones.

``python -m tests.real_photos FOLDER``: the table, its profiles, its readings, the page. How to take such a set:
``docs/real-photos.md``. The counting is that of the coverage study.
"""
