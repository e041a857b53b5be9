"""What each grace is, what each source's sign means, and which notes a grace becomes at its place."""

from gracewright.graces.inequality import Inequality, unequal_value
from gracewright.graces.layout import shortest_shake
from gracewright.graces.model import (
    Context,
    Ending,
    Grace,
    GraceNote,
    Pass,
    PlayedNote,
    Realised,
    Start,
    Timing,
    Version,
)
from gracewright.graces.neighbours import neighbour
from gracewright.graces.notation import Notated, sign_for
from gracewright.graces.page import PageGrace, page_graces, page_remarks, unread_signs
from gracewright.graces.perform import Placed, perform
from gracewright.graces.realise import realise
from gracewright.graces.recognise import WrittenOut, recognise, same_grace, written_out
from gracewright.graces.signs import Meaning, SignKind, kinds, look_up, sign_kinds
from gracewright.graces.sources import Entry, Reading, Source, entry_of, is_source, load_source, short_name, sources
from gracewright.graces.speaking import Speaking, speaking_source
from gracewright.graces.surroundings import Speed, chord_of, contexts
from gracewright.graces.vocabulary import GraceWord, vocabulary, word_of
from gracewright.graces.ways import entry_for

__all__ = [
    "Context",
    "Ending",
    "Entry",
    "Grace",
    "GraceNote",
    "GraceWord",
    "Inequality",
    "Meaning",
    "Notated",
    "PageGrace",
    "Pass",
    "Placed",
    "PlayedNote",
    "Reading",
    "Realised",
    "SignKind",
    "Source",
    "Speaking",
    "Speed",
    "Start",
    "Timing",
    "Version",
    "WrittenOut",
    "chord_of",
    "contexts",
    "entry_for",
    "entry_of",
    "is_source",
    "kinds",
    "load_source",
    "look_up",
    "neighbour",
    "page_graces",
    "page_remarks",
    "perform",
    "realise",
    "recognise",
    "same_grace",
    "short_name",
    "shortest_shake",
    "sign_for",
    "sign_kinds",
    "sources",
    "speaking_source",
    "unequal_value",
    "unread_signs",
    "vocabulary",
    "word_of",
    "written_out",
]
