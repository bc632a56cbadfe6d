"""The catalogues of words: extracted from the sources, checked, compiled. It writes ``stripread/words/locale``.

``python -m tests.catalogues --extract`` brings the ``.po`` up to date after a sentence was added or changed (what is
new stands there untranslated), ``--compile`` makes the ``.mo`` that are read, ``--check`` says what is wrong with both.
"""
