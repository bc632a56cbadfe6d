"""What a person writes down at the bench beside the photos: weights, decants, reagents, what went to the stock vessel.

Each kind of note is one model: it checks what is given, is the note's JSON in the log, describes it to the API, and
says how the page's form asks for it. ``checked`` is the only door. What a note means for the batch is not here.
"""

from service.bench.notes.content import GRAMS, LITRES, PH, Content
from service.bench.notes.kinds import CONTENTS, KINDS, checked, words_of
from service.bench.notes.note import Note, amendments, as_corrected, contents, in_force, withdrawals
from service.bench.notes.of_liquid import BatchVessel, DecantNote, ReagentUsed, decant_of
from service.bench.notes.of_log import Amended, ChosenProcedure, Move, Strike
from service.bench.notes.of_melt import BarNote, MeltNote
from service.bench.notes.of_solid import AcidRinse, AmmoniaTest, MetalCheck, NamedTest, Weight
from service.bench.notes.of_stock import Emptying, MadeSafe, Pouring, VesselReading
from service.bench.notes.of_test import VialsAcidified

__all__ = [
    "CONTENTS",
    "GRAMS",
    "KINDS",
    "LITRES",
    "PH",
    "AcidRinse",
    "Amended",
    "AmmoniaTest",
    "BarNote",
    "BatchVessel",
    "ChosenProcedure",
    "Content",
    "DecantNote",
    "Emptying",
    "MadeSafe",
    "MeltNote",
    "MetalCheck",
    "Move",
    "NamedTest",
    "Note",
    "Pouring",
    "ReagentUsed",
    "Strike",
    "VesselReading",
    "VialsAcidified",
    "Weight",
    "amendments",
    "as_corrected",
    "checked",
    "contents",
    "decant_of",
    "in_force",
    "withdrawals",
    "words_of",
]
