"""What each grace is, what each source's sign means, and which notes a grace becomes at its place."""

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
from gracewright.graces.page import PageGrace, page_graces
from gracewright.graces.perform import Placed, perform
from gracewright.graces.realise import realise, shake_ending
from gracewright.graces.surroundings import Speed, chord_of, contexts
from gracewright.graces.vocabulary import GraceWord, vocabulary, word_of

__all__ = [
    "Context",
    "Ending",
    "Grace",
    "GraceNote",
    "GraceWord",
    "Notated",
    "PageGrace",
    "Pass",
    "Placed",
    "PlayedNote",
    "Realised",
    "Speed",
    "Start",
    "Timing",
    "Version",
    "chord_of",
    "contexts",
    "neighbour",
    "page_graces",
    "perform",
    "realise",
    "shake_ending",
    "sign_for",
    "vocabulary",
    "word_of",
]
