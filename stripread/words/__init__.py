"""Words for people, in their language: sentences stand in the code in English and are the keys of the catalogues.

``_("…")`` says a sentence in the language that is spoken at the moment, ``_n`` one with a plural, ``N_`` marks one that
is said later, by ``say``. Codes, names of fields and the numbers of JSON and CSV are no words and stay as they are.
English needs no catalogue, and loads none.
"""

from stripread.words.language import LANGUAGES, SOURCE, speak, speaking, spoken
from stripread.words.numbers import number
from stripread.words.say import N_, _, _n, say

__all__ = ["LANGUAGES", "N_", "SOURCE", "_", "_n", "number", "say", "speak", "speaking", "spoken"]
