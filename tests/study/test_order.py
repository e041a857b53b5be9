"""The order as played: signs as they stand in prints and manuscripts, each with the order a player would take."""

import time
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gracewright.score import Bar, Meter
from gracewright.study.material import gather
from gracewright.study.repeats import MOST, find_repeats, played_order

TRIPLE = Meter(3, 4)


def bars_of(text):
    """Bars from a line such as ``"p |: x :| 1[ x :| 2[ x ]"``.

    A bar is a word of letters: ``x`` a bar, ``p`` a pickup of a beat, ``h`` half a bar; after it, joined by commas,
    what stands over it (segno, fine, dacapo, dalsegno, tocoda, coda). ``|:`` and ``:|`` stand around bars, ``:3|`` is
    played three times, ``1[`` begins an ending that lasts until ``]`` or the next one.
    """
    bars, start, endings = [], False, ()
    at = F(0)
    for word in text.split():
        if word == "|:":
            start = True
        elif word.startswith(":"):
            bars[-1] = bars[-1].__class__(**{**fields(bars[-1]), "repeat_end": int(word.strip(":|") or 2)})
        elif word.endswith("["):
            endings = tuple(int(number) for number in word[:-1].split("+"))
        elif word == "]":
            endings = ()
        else:
            kind, *jumps = word.split(",")
            length = {"x": F(3), "p": F(1), "h": F(3, 2)}[kind]
            bars.append(
                Bar(len(bars), str(len(bars)), at, length, TRIPLE, 0, pickup=kind == "p" and not bars,
                    repeat_start=start, endings=endings, jumps=tuple(jumps))
            )  # fmt: skip
            at, start = at + length, False
    return bars


def fields(bar):
    return {name: getattr(bar, name) for name in bar.__dataclass_fields__}


def order(text):
    """Bars as they sound, one number each."""
    return [n for run in played_order(bars_of(text)) for n in range(run.first_bar, run.last_bar + 1)]


@pytest.mark.parametrize(
    ("page", "played"),
    [
        # a closing sign with no opening one goes back to the beginning
        ("x x :| x", [0, 1, 0, 1, 2]),
        # a second closing sign with no opening one goes back to the first closing sign, as in every binary dance
        ("x x :| x x :|", [0, 1, 0, 1, 2, 3, 2, 3]),
        # the pickup belongs to what is repeated, the bar before the sign lacks a beat
        ("p x h :| h x h :|", [0, 1, 2, 0, 1, 2, 3, 4, 5, 3, 4, 5]),
        # a repeat inside a bar: the two halves of the bar are bars of their own here
        ("x h :| |: h x :|", [0, 1, 0, 1, 2, 3, 2, 3]),
        # an opening sign later on leaves what stands before it unrepeated
        ("x |: x x :| x", [0, 1, 2, 1, 2, 3]),
        # an opening sign that nothing closes changes nothing
        ("x |: x x", [0, 1, 2]),
        # first and second ending
        ("|: x 1[ x :| 2[ x ] x", [0, 1, 0, 2, 3]),
        # the same without the dots: the second number says it all
        ("x 1[ x 2[ x ] x", [0, 1, 0, 2, 3]),
        # endings of two bars, the first closed by dots
        ("x 1[ x x :| 2[ x x ] x", [0, 1, 2, 0, 3, 4, 5]),
        # one ending for two times through, another for the third
        ("x 1+2[ x :| 3[ x ] x", [0, 1, 0, 1, 0, 2, 3]),
        # the strain after two endings is repeated from its own beginning
        ("x 1[ x :| 2[ x ] x x :|", [0, 1, 0, 2, 3, 4, 3, 4]),
        # three times
        ("x :3| x", [0, 0, 0, 1]),
        # da capo to the end where no fine stands
        ("x x x,dacapo", [0, 1, 2, 0, 1, 2]),
        # da capo al fine; repeats are not taken again
        ("x x,fine :| x x,dacapo", [0, 1, 0, 1, 2, 3, 0, 1]),
        # da capo takes the last ending
        ("x 1[ x :| 2[ x,fine ] x,dacapo", [0, 1, 0, 2, 3, 0, 2]),
        # dal segno al fine
        ("x x,segno x,fine x,dalsegno", [0, 1, 2, 3, 1, 2]),
        # dal segno al coda
        ("x x,segno x,tocoda x,dalsegno x,coda x", [0, 1, 2, 3, 1, 2, 4, 5]),
        # dal segno where no segno stands: from the beginning
        ("x x,fine x,dalsegno", [0, 1, 2, 0, 1]),
    ],
)
def test_bars_are_played_as_a_player_would(page, played):
    assert order(page) == played


def test_each_time_through_is_counted():
    runs = played_order(bars_of("x 1[ x :| 2[ x ]"))

    assert [(run.first_bar, run.last_bar, run.time_through) for run in runs] == [(0, 1, 1), (0, 0, 2), (2, 2, 1)]


BARS = st.lists(
    st.tuples(st.booleans(), st.integers(0, 12), st.sampled_from([(), (), (), (1,), (2,), (1, 2), (3,), (9,)]),
              st.sampled_from(["", "", "", "segno", "coda", "tocoda", "dacapo", "dalsegno", "fine"])),
    min_size=1, max_size=24,
)  # fmt: skip


def written(rows):
    return [
        Bar(n, str(n), F(3 * n), F(3), TRIPLE, 0, repeat_start=start, repeat_end=end if end != 1 else 0,
            endings=endings, jumps=(jump,) if jump else ())
        for n, (start, end, endings, jump) in enumerate(rows)
    ]  # fmt: skip


@given(BARS)
@settings(max_examples=300, deadline=None)
def test_the_order_ends_whatever_stands_on_the_page(rows):
    """No bar sounds more than eight times and once after a jump, and each run counts its time through by one more."""
    heard = {}
    for run in played_order(written(rows)):
        for bar in range(run.first_bar, run.last_bar + 1):
            heard[bar] = heard.get(bar, 0) + 1
            assert run.time_through == heard[bar] <= MOST + 1


@given(st.lists(st.tuples(st.booleans(), st.integers(0, 4)), min_size=1, max_size=24))
@settings(max_examples=200, deadline=None)
def test_repeat_signs_alone_never_leave_a_bar_out(rows):
    bars = written([(start, end, (), "") for start, end in rows])
    heard = {bar for run in played_order(bars) for bar in range(run.first_bar, run.last_bar + 1)}

    assert heard == set(range(len(bars)))


@pytest.mark.parametrize("strain", ["x x x 1[ x :| 2[ x ] ", "x x x x x ", "x x x x x :| ", "1[ x "])
def test_unfolding_grows_with_the_bars(strain):
    """Ten times the bars take about ten times as long; a hundred times would be quadratic."""

    def seconds(many):
        bars = bars_of(strain * many)
        begun = time.process_time()
        played_order(bars)
        return time.process_time() - begun

    seconds(100)
    short, long = min(seconds(400) for _ in range(3)), min(seconds(4000) for _ in range(3))
    assert long < 30 * short


def test_what_a_jump_repeats_is_told_from_what_a_sign_repeats(make_piece):
    """A A B, da capo al fine: A is heard by its sign first, then by the jump."""
    piece = make_piece({"P1": "C5:1 E5:1 D5:1 B4:1 C5:2 G5:1 F5:1 E5:1 A5:1 G5:1 F5:1"}, meter=TRIPLE)
    signs = bars_of("x x,fine :| x x,dacapo")
    marked = replace(piece, bars=tuple(
        replace(bar, repeat_end=sign.repeat_end, jumps=sign.jumps) for bar, sign in zip(piece.bars, signs, strict=True)
    ))  # fmt: skip
    kinds = [one.kind for one in find_repeats(gather(marked), played_order(marked.bars))]

    assert kinds == ["sign", "da capo"]
