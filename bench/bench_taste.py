"""Does the planner set graces where the composers did? And how fast is it, and does it ever break a rule?

    python bench/bench_taste.py                 placement against the composers' own graces, reporting half
    python bench/bench_taste.py --tuning        the same on the half that dials were chosen on
    python bench/bench_taste.py --out           with learned weights that never saw the piece (tenths; minutes)
    python bench/bench_taste.py --judge 10      ten places where planner and composer disagree
    python bench/bench_taste.py --misses        what kinds of places are missed and overdone
    python bench/bench_taste.py --pairs         plain and ornamented versions of one movement
    python bench/bench_taste.py --sweep         faults over open pieces, all manners, richness 0 to 10
    python bench/bench_taste.py --speed         seconds for 200 notes, 5,000 bars, one lock

Placement: graces are taken off the page of open pieces that carry at least four, the rest is studied and planned anew.
*As many*: with as many graces as the composer wrote, each bar once, by a player who can play it all. *As it comes*:
what ``gracewright ornament FILE --signs ignore`` gives, its own number of graces. Presence: F1 of "this note bears a
grace"; type: where both have one, is it of one kind; cadence: of the composer's graces within two quarters before an
expert's cadence label, how many the plan has too. A composer's page is one good answer of many: most graces were left
to the player, so disagreement is not always error.

The weights we ship are learned from all these pieces (``bench/learn_manners.py``): as they stand their figures flatter.
``--out`` fits them again without each piece and its work; ``learn_manners.py --tuning`` before a run shows the other
half unseen.
"""

import argparse
import os
import random
import re
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from gracewright.errors import BadInput
from gracewright.graces import perform
from gracewright.instruments import Instrument, load_instrument, widened
from gracewright.pitch import Pitch
from gracewright.review import review
from gracewright.score import Piece, read, tones
from gracewright.study import Segment, Study, study
from gracewright.taste import load_manner, make_plan, manner_for, manners, placed
from gracewright.taste.learning import kind_of, without_graces
from gracewright.taste.manner import Manner
from gracewright.taste.sites import sites_of
from learn_manners import learn, manner_of
from marked_data import Case, cases
from study_data import OPEN

SEED = 1
TENTHS = 10
MANNER = {"dcml_bach_en_fr_suites": "french", "dcml_bach_solo": "german-suites", "dcml_cpe_bach_keyboard": "german",
          "dcml_wf_bach_sonatas": "german", "dcml_scarlatti_sonatas": "italian", "scarlatti_kern": "italian",
          "polish_continuo": "galant", "dcml_pergolesi_stabat_mater": "galant"}  # fmt: skip
TABLE = {"french": "suites", "german-suites": "suites", "german": "berlin", "italian": "scarlatti", "galant": "galant"}


def keyboard() -> Instrument:
    """An instrument that can play all of it: the pieces are for keyboard and strings, and placement is the question."""
    violin = load_instrument("violin")
    return replace(
        violin, id="keyboard", low=Pitch.parse("C1"), high=Pitch.parse("C8"), missing=(), weak=(), shake_places=(),
        strokes={level: 1.6 * rate for level, rate in violin.strokes.items()}, factors={"none_known": 1.0},
        shortest={family: 0.7 * least for family, least in violin.shortest.items()},
    )  # fmt: skip


Chosen = dict[str, str]  # tone id → kind
Way = Callable[[Case], Chosen]


def as_many(manner: Callable[[Case], Manner]) -> Way:
    """As many graces as the composer's."""
    player = keyboard()

    def choose(case: Case) -> Chosen:
        plan = make_plan(case.piece, case.study, manner(case), player, level="virtuoso", richness=10,
                         count=len(case.graces))  # fmt: skip
        return {choice.note: kind_of(choice.grace) for choice in plan.choices if choice.grace}

    return choose


def as_it_comes(manner: Callable[[Case], Manner], times_through: Sequence[int] = ()) -> Way:
    """The plan of the command line; all times through, or those asked for."""
    alto = load_instrument("alto-recorder")

    def choose(case: Case) -> Chosen:
        player = widened(tones(case.piece, case.whole.solo), alto)
        plan = make_plan(case.piece, case.whole, manner(case), player, signs="ignore")
        return {choice.note: kind_of(choice.grace) for choice in plan.choices
                if choice.grace and (not times_through or choice.time_through in times_through)}  # fmt: skip

    return choose


def longest_first(case: Case) -> Chosen:
    """Baseline: a shake on the longest notes."""
    line = sorted(tones(case.piece, case.study.solo), key=lambda tone: (-tone.length, tone.onset))
    return {tone.id: "shake" for tone in line[: len(case.graces)]}


def cadences_and_chance(case: Case) -> Chosen:
    """Baseline: a shake on the note before every close the study finds, the rest by chance."""
    chosen = [cadence.penultimate for cadence in case.study.cadences if cadence.penultimate]
    others = [tone.id for tone in tones(case.piece, case.study.solo) if tone.id not in chosen]
    random.Random(SEED).shuffle(others)
    return dict.fromkeys((chosen + others)[: len(case.graces)], "shake")


def shipped(case: Case) -> Manner:
    """The manner of the piece's composer."""
    return load_manner(MANNER[case.corpus])


def by_page(case: Case) -> Manner:
    """The manner that the page tells."""
    return load_manner(manner_for(case.piece, case.whole).manner)


def left_out(everything: Sequence[Case]) -> Callable[[Case], Manner]:
    """The shipped manner with its weights learned again without the piece: a tenth of the pieces is left out at a
    time, no movement of a work apart from the others."""
    start = learn(everything)
    works = sorted({work_of(case) for case in everything})
    kept: dict[tuple[int, str], Manner] = {}

    def manner(case: Case) -> Manner:
        tenth, name = works.index(work_of(case)) % TENTHS, MANNER[case.corpus]
        if (tenth, name) not in kept:
            rest = [other for other in everything if works.index(work_of(other)) % TENTHS != tenth]
            found = learn(rest, start)
            for each in set(MANNER.values()):
                kept[tenth, each] = manner_of(each, found[TABLE[each]])
        return kept[tenth, name]

    return manner


def work_of(case: Case) -> str:
    """Movements of one work have one name."""
    return re.split(r"_|(?<=n\d\d)[a-z]", case.name)[0] if case.corpus.startswith("dcml") else case.name


def placement(asked: argparse.Namespace) -> None:
    """Every way on every set."""
    everything = cases(None if asked.out else asked.tuning is False)
    shown = [case for case in everything if case.reporting != asked.tuning]
    print(f"{len(shown)} pieces, {sum(len(case.graces) for case in shown)} graces of the composers "
          f"({'tuning' if asked.tuning else 'reporting'} half)")  # fmt: skip
    ways: dict[str, Way] = {
        "longest notes": longest_first,
        "cadences + chance": cadences_and_chance,
        "set by hand": as_many(lambda case: load_manner(MANNER[case.corpus], learned=False)),
        "shipped": as_many(shipped),
    }
    if asked.out:
        out = left_out(everything)
        ways |= {"left out": as_many(out), "left out, as it comes": as_it_comes(out)}
    ways |= {
        "french as it comes": as_it_comes(lambda case: load_manner("french")),
        "as it comes": as_it_comes(by_page),
        "its first time": as_it_comes(by_page, (1,)),
    }
    print(f"{'':22}{'set':28}{'graces':>7}{'chosen':>8}{'precision':>10}{'recall':>8}{'F1':>7}{'type':>7}{'cadences':>13}")
    for title, way in ways.items():
        rows: dict[str, Counter[str]] = defaultdict(Counter)
        for case in shown:
            count = compared(case, way(case))
            rows[case.corpus] += count
            rows["all"] += count
        for corpus, count in rows.items():
            print(f"{title:22}{corpus:28}{told(count)}")
    chosen = {case.name: ways["left out" if asked.out else "shipped"](case) for case in shown}
    if asked.judge:
        judge(shown, chosen, asked.judge)
    if asked.misses:
        misses(shown, chosen)


def compared(case: Case, chosen: Chosen) -> Counter[str]:
    """What a plan and the composer have in common."""
    both = set(chosen) & set(case.graces)
    return Counter(chosen=len(chosen), true=len(case.graces), both=len(both), close=len(case.cadential),
                   closed=len(case.cadential & set(chosen)),
                   alike=sum(chosen[note] == kind_of(case.graces[note]) for note in both))  # fmt: skip


def told(count: Counter[str]) -> str:
    precision, recall = count["both"] / max(1, count["chosen"]), count["both"] / max(1, count["true"])
    f1 = 2 * count["both"] / max(1, count["chosen"] + count["true"])
    return (f"{count['true']:7}{count['chosen']:8}{precision:10.3f}{recall:8.3f}{f1:7.3f}"
            f"{count['alike'] / max(1, count['both']):7.2f}{count['closed'] / max(1, count['close']):8.2f} "
            f"({count['close']})")  # fmt: skip


def judge(shown: Sequence[Case], chosen: dict[str, Chosen], most: int) -> None:
    """Places where planner and composer disagree, drawn by lot."""
    found = [(case, note) for case in shown for note in sorted(set(chosen[case.name]) ^ set(case.graces))]
    random.Random(SEED).shuffle(found)
    for case, note in found[:most]:
        tone = next(tone for tone in tones(case.piece, case.study.solo) if tone.id == note)
        theirs = case.graces[note].words if note in case.graces else "nothing"
        ours = chosen[case.name].get(note, "nothing")
        beat = case.piece.beat_of(tone.onset, tone.bar)
        where = f"{case.name} bar {case.piece.bars[tone.bar].number} beat {beat}"
        print(f"  {where} {tone.pitch} ({tone.length} quarters): composer {theirs}; plan {ours}")


SEEN = ("cadence-close", "cadence-strong", "from-step-above", "from-step-below", "from-leap-below", "from-leap-above",
        "from-same", "from-rest", "downbeat", "off-beat", "quick", "short", "middle", "long", "very-long", "dotted",
        "again", "phrase-first", "phrase-last", "over-dominant", "chord-third", "leading-note", "second-degree",
        "common-motif", "lone-motif")  # fmt: skip


def misses(shown: Sequence[Case], chosen: dict[str, Chosen]) -> None:
    """Features among graces that both set, that only the composer set, that only the plan set."""
    count: dict[str, Counter[str]] = {"both": Counter(), "missed": Counter(), "overdone": Counter()}
    for case in shown:
        table, mine, theirs = sites_of(case.piece, case.study), set(chosen[case.name]), set(case.graces)
        for name, notes in (("both", mine & theirs), ("missed", theirs - mine), ("overdone", mine - theirs)):
            count[name]["all"] += len(notes)
            for note in notes:
                count[name].update(f for f in SEEN if table.on(f)[table.index[note]] > 0)
    print(f"{'place':20}" + "".join(f"{name:>12}" for name in count))
    for feature in ("all", *SEEN):
        row = [one[feature] / (1 if feature == "all" else max(1, one["all"])) for one in count.values()]
        print(f"{feature:20}" + "".join(f"{value:12.2f}" for value in row))


def pairs() -> None:
    """Where a master wrote a movement plain and ornamented: how many of the notes he changed the plan graces too."""
    plain, varied = "BWV808_04_Sarabande", "BWV808_04a_Agrements_de_la_Sarabande"
    folder = OPEN / "dcml_bach_en_fr_suites" / "musicxml"
    one, two = read(folder / f"{plain}.musicxml"), read(folder / f"{varied}.musicxml")
    bare = without_graces(one)
    found = replace(study(bare), order=(Segment(0, len(bare.bars) - 1, 1),))
    written = {(tone.onset, tone.pitch.midi, tone.length) for tone in tones(two, "P1")}
    line = tones(bare, found.solo)
    changed = {tone.id for tone in line if (tone.onset, tone.pitch.midi, tone.length) not in written}
    print(f"{plain}: {len(changed)} of {len(line)} notes are broken up or replaced in the ornamented version")
    for name in ("french", "german", "italian-slow"):
        plan = make_plan(bare, found, load_manner(name), keyboard(), level="virtuoso", richness=10, count=len(changed))
        mine = {choice.note for choice in plan.choices}
        print(f"  {name:14} graces {len(mine)} notes; {len(mine & changed)} of the {len(changed)} are among them "
              f"(chance: {len(mine) * len(changed) / len(line):.0f})")  # fmt: skip


def sweep(every: int) -> None:
    """Faults by the review room (and parallels among them), density, repeats."""
    player = load_instrument("violin")
    files = [path for path in sorted(OPEN.rglob("*.musicxml")) if "musicxml_tests" not in path.parts][::every]
    total: Counter[str] = Counter()
    for path in files:
        try:
            piece = read(path)
            found = study(piece)
        except BadInput:
            continue
        for name in manners():
            before = -1
            for richness in (0, 2, 5, 8, 10):
                plan = make_plan(piece, found, load_manner(name), player, richness=richness)
                version = perform(piece, found, placed(plan), player, source=plan.signs_by)
                plain = Counter(f.rule for f in _faults(piece, found, (), player, plan.signs_by))
                mine = Counter(f.rule for f in _faults(piece, found, placed(plan), player, plan.signs_by))
                total["plans"] += 1
                total["choices"] += len(plan.choices)
                total.update(mine - plain)
                total["fewer graces than with less richness"] += len(plan.choices) < before
                before = len(plan.choices)
                total["repeat with fewer graces"] += any(_poorer(plan, bars) for bars in _repeated(version))
    print(f"{len(files)} pieces, {len(manners())} manners, richness 0 2 5 8 10; new faults over the plain line:")
    for name, count in total.most_common():
        print(f"  {name:40}{count:9}")


def _faults(piece, found, graces, player, source):  # type: ignore[no-untyped-def]
    version = perform(piece, found, graces, player, source=source)
    return review(piece, found, version, player, "intermediate").faults


def _repeated(version) -> Iterator[tuple[int, int]]:  # type: ignore[no-untyped-def]
    for passage in version.passes:
        if passage.time_through == 2:
            yield passage.first_bar, passage.last_bar


def _poorer(plan, bars) -> bool:  # type: ignore[no-untyped-def]
    starts = [choice for choice in plan.choices if bars[0] <= _bar(choice) <= bars[1]]
    return sum(c.time_through == 2 for c in starts) < sum(c.time_through == 1 for c in starts)


def _bar(choice) -> int:  # type: ignore[no-untyped-def]
    return int(choice.note.split(".b")[1].split(".")[0]) - 1 if ".b" in choice.note else 0


def speed() -> None:
    folder = OPEN / "dcml_bach_en_fr_suites" / "musicxml"
    piece = read(folder / "BWV808_02_Allemande.musicxml")
    player, manner = load_instrument("violin"), load_manner("french")
    found = study(piece)
    timed("first plan, 255 notes", 1, lambda: make_plan(piece, found, manner, player))
    timed("again, 255 notes", 20, lambda: make_plan(piece, found, manner, player))
    plan = make_plan(piece, found, manner, player)
    first = next(choice for choice in plan.choices if choice.origin == "ours")
    locked = replace(plan, choices=tuple(replace(c, lock="keep") if c == first else c for c in plan.choices))
    timed("with one lock", 20, lambda: make_plan(piece, found, manner, player, locks=locked))
    long = times(piece, 5000 // len(piece.bars) + 1)
    studied = replace(study(piece), order=())
    studied = study(long) if "--study" in sys.argv else lengthened(studied, piece, len(long.bars) // len(piece.bars))
    print(f"{len(long.bars)} bars, {len(tones(long, studied.solo))} notes")
    timed("first plan", 1, lambda: make_plan(long, studied, manner, player))
    timed("again", 3, lambda: make_plan(long, studied, manner, player))


def timed(title: str, count: int, call: Callable[[], object]) -> None:
    seconds = []
    for _ in range(count):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    print(f"  {title:28}{1000 * float(np.median(seconds)):10.1f} ms")


def times(piece: Piece, count: int) -> Piece:
    """The piece written out so many times on end, without repeat signs."""
    bars, notes = [], []
    for number in range(count):
        shift, first = piece.length * number, len(piece.bars) * number
        bars += [replace(bar, index=bar.index + first, number=str(bar.index + first), onset=bar.onset + shift,
                         repeat_start=False, repeat_end=0, endings=()) for bar in piece.bars]  # fmt: skip
        notes += [replace(note, id=f"{note.id}.x{number}", bar=note.bar + first, onset=note.onset + shift)
                  for note in piece.notes]  # fmt: skip
    return replace(piece, bars=tuple(bars), notes=tuple(notes), document=None)


def lengthened(found: Study, piece: Piece, count: int) -> Study:
    """The study of the piece so many times on end (study of the whole is another room's bench)."""
    roles, harmony, cadences, phrases, keys = [], [], [], [], []
    for number in range(count):
        shift, more = piece.length * number, f".x{number}"
        roles += [replace(role, note=role.note + more, onset=role.onset + shift) for role in found.roles]
        harmony += [replace(one, onset=one.onset + shift) for one in found.harmony]
        keys += [replace(one, onset=one.onset + shift) for one in found.keys]
        phrases += [replace(one, start=one.start + shift, end=one.end + shift) for one in found.phrases]
        cadences += [
            replace(one, onset=one.onset + shift, dominant_onset=one.dominant_onset + shift,
                    penultimate=one.penultimate and one.penultimate + more, arrival=one.arrival and one.arrival + more)
            for one in found.cadences
        ]  # fmt: skip
    return replace(found, roles=tuple(roles), harmony=tuple(harmony), cadences=tuple(cadences), phrases=tuple(phrases),
                   keys=tuple(keys), sequences=(), repeats=(), cues=(), tension=())  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("tuning", "out", "misses", "pairs", "sweep", "speed", "study"):
        parser.add_argument(f"--{name}", action="store_true")
    parser.add_argument("--judge", type=int, default=0)
    parser.add_argument("--every", type=int, default=8)
    asked = parser.parse_args()
    if not OPEN.is_dir():
        print(f"skipped: no shared data at {os.fspath(OPEN)}")
        return
    if asked.pairs:
        pairs()
    elif asked.sweep:
        sweep(asked.every)
    elif asked.speed:
        speed()
    else:
        placement(asked)


if __name__ == "__main__":
    main()
