"""What we write on the page is read again as what was meant: sign, side, slash, small notes and accidentals."""


import pytest
from graces_hands import Fingers, note, plain_study, score

from gracewright.graces import Grace, contexts, page_graces, realise, same_grace, sign_for
from gracewright.score import Addition, read, write_signs

GRACES = [
    Grace("shake"),
    Grace("shake", ending="turned"),
    Grace("shake", ending="anticipation"),
    Grace("shake", lean=True),
    Grace("shake", lean=True, ending="turned"),
    Grace("shake", direction="below"),
    Grace("shake", direction="above"),
    Grace("shake", direction="below", ending="turned"),
    Grace("shake", start="main"),
    Grace("shake", accelerate=True),
    Grace("shake", size="short"),
    Grace("mordent", size="single"),
    Grace("mordent", size="double"),
    Grace("appoggiatura", direction="above", size="long"),
    Grace("appoggiatura", direction="below", size="long"),
    Grace("appoggiatura", direction="above", size="short"),
    Grace("appoggiatura", direction="above", size="passing"),
    Grace("appoggiatura-mordent"),
    Grace("turn"),
    Grace("turn", start="lower"),
    Grace("turn-after"),
    Grace("slide"),
    Grace("double-appoggiatura"),
    Grace("accent"),
    Grace("anticipation"),
    Grace("finger-vibrato"),
    Grace("turned-shake"),
]
TUNES = {
    "C major": score(note("E", 5, 8) + note("D", 5, 16) + note("C", 5, 8)),
    "A minor": score(note("B", 4, 8) + note("A", 4, 16) + note("G", 4, 8, alter=1)),
    "D minor": score(note("A", 4, 8) + note("D", 5, 16) + note("D", 5, 8), fifths=-1),
    "G minor": score(note("F", 5, 8, alter=1) + note("G", 5, 16) + note("F", 5, 8, alter=1), fifths=-2),
}


def written_and_read(piece, key, grace):
    study = plain_study(piece, key)
    host_id = [n.id for n in piece.notes][1]
    context = contexts(piece, study, Fingers(), "intermediate")[host_id]
    notated = sign_for(grace, context)
    data = write_signs(piece, study.solo, [Addition(host_id, notated.signs, notated.before, notated.after)])
    again = read("again.musicxml", data)
    found = page_graces(again, plain_study(again, key))
    places = contexts(again, plain_study(again, key), Fingers(), "intermediate")
    return context, found, places


@pytest.mark.parametrize("grace", GRACES, ids=lambda grace: grace.words)
@pytest.mark.parametrize("key", TUNES)
def test_a_grace_written_on_the_page_is_read_as_that_grace(grace, key):
    context, found, places = written_and_read(TUNES[key], key, grace)

    (only,) = found
    assert same_grace(grace, only.grace)
    meant = [(n.pitch, n.onset) for n in realise(grace, context).notes]
    heard = [(n.pitch, n.onset) for n in realise(only.grace, places[only.note]).notes]
    assert [pitch for pitch, _ in heard] == [pitch for pitch, _ in meant]


def test_a_fall_before_a_repeated_note_is_no_anticipation():
    _, (only,), _ = written_and_read(TUNES["D minor"], "D minor", Grace("fall"))

    assert only.grace.id == "fall"
