"""Does the planner set graces where the composers did? And how fast is it, and does it ever break a rule?

    python bench/bench_taste.py                 placement against the composers' own graces, reporting half
    python bench/bench_taste.py --tuning        the same on the half that weights were chosen on
    python bench/bench_taste.py --judge 10      ten places where planner and composer disagree
    python bench/bench_taste.py --pairs         plain and ornamented versions of one movement
    python bench/bench_taste.py --sweep         faults over open pieces, all manners, richness 0 to 10
    python bench/bench_taste.py --speed         seconds for 200 notes, 5,000 bars, one lock

Placement: graces are taken off the page of open pieces that carry at least four, the rest is studied and planned anew
with as many graces as the composer wrote. Presence: F1 of "this note bears a grace"; type: where both have one, is it
of one kind; cadence: of the composer's graces within two quarters before an expert's cadence label, how many the plan
has too. A composer's page is one good answer of many: most graces were left to the player, so disagreement is not
always error. ``learned`` is fitted to all other pieces of the set (leave one out) starting from the manner ``german``.
"""

import argparse
import os
import random
import sys
import time
import tomllib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from gracewright.errors import BadInput
from gracewright.graces import Grace, page_graces, perform
from gracewright.instruments import Instrument, load_instrument
from gracewright.pitch import Pitch
from gracewright.review import review
from gracewright.score import Piece, read, tones
from gracewright.study import Segment, Study, study
from gracewright.taste import load_manner, make_plan, manners, placed
from gracewright.taste.learning import Marked, fit, kind_of, marked_from, without_graces
from gracewright.taste.manner import Manner, build
from gracewright.taste.manner_text import manner_text
from study_data import OPEN, REPORTING, labelled, quarters, truth

LEAST = 4
SEED = 1
MANNER = {"dcml_bach_en_fr_suites": "french", "dcml_bach_solo": "german", "dcml_cpe_bach_keyboard": "german",
          "dcml_wf_bach_sonatas": "german", "dcml_scarlatti_sonatas": "italian"}  # fmt: skip


@dataclass(eq=False)
class Case:
    """A piece without its graces, each bar once; the composer's graces by tone id; expert cadences in quarters."""

    corpus: str
    name: str
    piece: Piece
    study: Study
    slower: Study
    graces: dict[str, Grace]
    cadences: list[Fraction]
    marked: Marked

    @property
    def cadential(self) -> set[str]:
        found = set()
        for tone in tones(self.piece, self.study.solo):
            reach = tone.onset + max(2, tone.length)
            if tone.id in self.graces and any(tone.onset < at <= reach for at in self.cadences):
                found.add(tone.id)
        return found


def keyboard() -> Instrument:
    """An instrument that can play all of it: the pieces are for keyboard and strings, and placement is the question."""
    violin = load_instrument("violin")
    return replace(
        violin, id="keyboard", low=Pitch.parse("C1"), high=Pitch.parse("C8"), missing=(), weak=(), shake_places=(),
        strokes={level: 1.6 * rate for level, rate in violin.strokes.items()}, factors={"none_known": 1.0},
        shortest={family: 0.7 * least for family, least in violin.shortest.items()},
    )  # fmt: skip


def cases(reporting: bool | None) -> list[Case]:
    found, base = [], load_manner("german")
    for path in labelled(reporting):
        piece = read(path)
        plain = without_graces(piece)
        whole = study(plain)
        once = replace(whole, order=(Segment(0, len(piece.bars) - 1, 1),))
        # for learning, where graces stand is the question, not whether fingers reach them: slower than the guess
        slower = replace(once, tempo=whole.tempo * 3 / 5)
        graces = {there.note: there.grace for there in page_graces(piece, once)}
        if len(graces) < LEAST:
            continue
        ends = [quarters(row["q"]) for row in truth(path) if row.get("cadence")] if truth(path) else []
        marked = marked_from(path.stem, piece, plain, slower, base)
        found.append(Case(path.parents[1].name, path.stem, plain, once, slower, graces, ends, marked))
    return found


Chosen = dict[str, str]  # tone id → kind


def by_manner(name_of: Callable[[Case], Manner], slower: bool = False) -> Callable[[Case], Chosen]:
    player = keyboard()

    def choose(case: Case) -> Chosen:
        found = case.slower if slower else case.study
        plan = make_plan(case.piece, found, name_of(case), player, level="virtuoso", richness=10,
                         count=len(case.graces))  # fmt: skip
        return {choice.note: kind_of(choice.grace) for choice in plan.choices if choice.grace}

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


def learned(all_cases: list[Case]) -> Callable[[Case], Manner]:
    base = load_manner("german")

    def manner(case: Case) -> Manner:
        rest = [other.marked for other in all_cases if other.corpus == case.corpus and other.name != case.name]
        try:
            return build(tomllib.loads(manner_text(fit(rest, base), "learned", "Learned")), "learned")
        except BadInput:
            return base

    return manner


def placement(reporting: bool, judge: int) -> None:
    everything = cases(None)
    shown = [case for case in everything if case.name.startswith(REPORTING) == reporting]
    print(f"{len(shown)} pieces, {sum(len(case.graces) for case in shown)} graces of the composers "
          f"({'reporting' if reporting else 'tuning'} half)")  # fmt: skip
    ways = {
        "longest notes": longest_first,
        "cadences + chance": cadences_and_chance,
        "hand-set manner": by_manner(lambda case: load_manner(MANNER.get(case.corpus, "german"))),
        "learned (others)": by_manner(learned(everything), slower=True),
        "german-suites": by_manner(lambda case: load_manner("german-suites"), slower=True),
    }
    print(f"{'':22}{'set':28}{'graces':>7}{'presence F1':>13}{'type':>7}{'at cadences':>13}")
    disagreements = []
    for title, way in ways.items():
        rows: dict[str, Counter[str]] = defaultdict(Counter)
        for case in shown:
            chosen = way(case)
            both = set(chosen) & set(case.graces)
            count = Counter(chosen=len(chosen), true=len(case.graces), both=len(both), close=len(case.cadential),
                            closed=len(case.cadential & set(chosen)),
                            alike=sum(chosen[note] == kind_of(case.graces[note]) for note in both))  # fmt: skip
            rows[case.corpus] += count
            rows["all"] += count
            if title.startswith("learned"):
                disagreements += [(case, note) for note in sorted(set(chosen) ^ set(case.graces))]
        for corpus, count in rows.items():
            f1 = 2 * count["both"] / max(1, count["chosen"] + count["true"])
            print(f"{title:22}{corpus:28}{count['true']:7}{f1:13.3f}{count['alike'] / max(1, count['both']):7.2f}"
                  f"{count['closed'] / max(1, count['close']):10.2f} ({count['close']})")  # fmt: skip
    random.Random(SEED).shuffle(disagreements)
    for case, note in disagreements[:judge]:
        tone = next(tone for tone in tones(case.piece, case.study.solo) if tone.id == note)
        theirs = case.graces[note].words if note in case.graces else "nothing"
        beat = case.piece.beat_of(tone.onset, tone.bar)
        print(f"  {case.name} bar {case.piece.bars[tone.bar].number} beat {beat} {tone.pitch}: composer {theirs}; "
              f"plan {'nothing' if note in case.graces else 'a grace'}")  # fmt: skip


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
    for name in ("tuning", "pairs", "sweep", "speed", "study"):
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
        placement(not asked.tuning, asked.judge)


if __name__ == "__main__":
    main()
