"""Stretches lie end to end, and an excerpt sounds what the whole would sound there."""

import io
from fractions import Fraction
from itertools import pairwise

import pytest
import soundfile

from gracewright.desk.hearing import around, excerpt, stretches, stretches_json
from gracewright.sound import SAMPLE_RATE, time_map


def test_stretches_cover_the_order_as_played_without_gap_or_overlap(session):
    work = session.work
    found = stretches(work.study, work.version)

    assert found[0].onset == 0
    assert all(a.onset + a.length == b.onset for a, b in pairwise(found))
    assert found[-1].onset + found[-1].length == work.version.length


def test_an_excerpt_sounds_as_its_place_in_the_whole(session):
    version = session.work.version
    part = excerpt(version, Fraction(8), Fraction(16))
    inside = [n for n in version.notes if n.part == version.solo and n.onset >= 8 and n.end <= 16]
    heard = [n for n in part.notes if n.part == version.solo]

    assert [(n.onset - 8, n.length, n.pitch, n.host) for n in inside] == [
        (n.onset, n.length, n.pitch, n.host) for n in heard if n.end < 8 or n.end == 8
    ][: len(inside)]
    assert all(0 <= n.onset < n.end <= 8 for n in part.notes)


def test_cursor_maps_of_the_stretches_agree_with_the_sound_of_each_stretch(session):
    """Within a millisecond: what a stretch tells is the time map of the excerpt that is rendered for it."""
    work, tempo = session.work, Fraction(60)
    solo = set(session.draft.tones)
    for told, stretch in zip(stretches_json(work.study, work.version, work.piece, tempo),
                             stretches(work.study, work.version), strict=True):  # fmt: skip
        part = excerpt(work.version, stretch.onset, stretch.onset + stretch.length)
        heard = [(at, host) for at, host, _, _ in time_map(part, tempo=tempo) if host in solo]
        shown = [(note["at"], note["note"]) for note in told["notes"] if note["note"] in solo]

        assert [host for _, host in shown] == [host for _, host in heard]
        assert [at for at, _ in shown] == pytest.approx([float(at) for at, _ in heard], abs=1e-3)


def test_cursor_maps_laid_end_to_end_are_the_map_of_the_whole(session):
    work, tempo = session.work, Fraction(60)
    whole = {(round(float(at), 3), host) for at, host, _, _ in time_map(work.version, tempo=tempo)}
    laid = set()
    told_of = stretches_json(work.study, work.version, work.piece, tempo)
    for told, stretch in zip(told_of, stretches(work.study, work.version), strict=True):
        laid |= {(round(float(stretch.onset) + note["at"], 3), note["note"]) for note in told["notes"]}
    solo = set(session.draft.tones)

    assert {one for one in whole if one[1] in solo} == {one for one in laid if one[1] in solo}


@pytest.mark.parametrize("percent", [50, 100])
def test_a_slower_stretch_is_longer_in_proportion(desk, percent):
    query = {"stretch": "0", "percent": str(percent), "continuo": "0"}
    samples, rate = soundfile.read(io.BytesIO(desk.sound(query).body))
    work = desk.there.work
    length = float(stretches(work.study, work.version)[0].length) * 60 / float(work.study.tempo) * 100 / percent

    assert rate == SAMPLE_RATE
    assert length <= len(samples) / rate <= length + 4  # what rings on after the last note


def test_a_note_is_heard_with_its_surroundings_in_its_time_through(session):
    version = session.work.version
    note = next(n for n in version.notes if n.part == version.solo and n.onset > 2)
    onset, end = around(version, note.host, 2, Fraction(1))

    assert onset < note.onset + version.length / 2 < end + version.length
    assert around(version, "no such note", 1, Fraction(1)) is None
