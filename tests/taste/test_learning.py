"""A manner can be learned from marked scores, and what is learned is what the scores do."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gracewright.cli.learn import command
from gracewright.errors import BadInput
from gracewright.graces import Grace, page_graces
from gracewright.job import Wishes, demo_piece, result, work_on
from gracewright.score import read, tones
from gracewright.taste import load_manner, make_plan
from gracewright.taste.learning import fit, kind_of, marked_score, without_graces
from gracewright.taste.manner import build
from gracewright.taste.manner_text import manner_text, report

SCORE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>
<score-part id="P2"><part-name>Bass</part-name></score-part></part-list><part id="P1">{tune}</part>
<part id="P2">{bass}</part></score-partwise>"""
HEAD = ("<attributes><divisions>2</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4"
        "</beat-type></time></attributes>")  # fmt: skip


def note(pitch: str, length: int, sign: str = "") -> str:
    marks = f"<notations><ornaments><{sign}/></ornaments></notations>" if sign else ""
    return (f"<note><pitch><step>{pitch[0]}</step><octave>{pitch[1]}</octave></pitch>"
            f"<duration>{length}</duration>{marks}</note>")  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Tunes in which every note that falls by step onto the third beat is shaken, and every leap up is bitten."""
    where = tmp_path_factory.mktemp("marked")
    random = np.random.default_rng(3)
    for number in range(6):
        tune = bass = ""
        for bar in range(12):
            kind = int(random.integers(3))
            if kind == 0:
                row = note("E5", 4) + note("D5", 2, "trill-mark") + note("D5", 2)
            elif kind == 1:
                row = note("C5", 4) + note("G5", 2, "mordent") + note("G5", 2)
            else:
                row = note("C5", 4) + note("C5", 2) + note("D5", 2)
            head = HEAD if bar == 0 else ""
            tune += f'<measure number="{bar + 1}">{head}{row}</measure>'
            bass += f'<measure number="{bar + 1}">{head}{note("C3", 4)}{note("G3", 4)}</measure>'
        (where / f"tune{number}.musicxml").write_text(SCORE.format(tune=tune, bass=bass), encoding="utf-8")
    return where


def test_graces_are_set_aside_and_nothing_else(folder):
    piece = read(folder / "tune0.musicxml")
    plain = without_graces(piece)

    assert any(n.marks.signs for n in piece.notes)
    assert not any(n.marks.signs for n in plain.notes)
    assert [(n.onset, n.pitch) for n in piece.notes] == [(n.onset, n.pitch) for n in plain.notes]


def test_a_learned_manner_graces_an_unseen_score_as_the_others_do(folder):
    base = load_manner("german")
    files = sorted(folder.glob("*.musicxml"))
    learned = fit([marked_score(path, base) for path in files[1:]], base)
    manner = build(tomllib.loads(manner_text(learned, "mine", "Mine")), "mine.toml")

    from gracewright.instruments import load_instrument
    from gracewright.study import study

    piece = read(files[0])
    plain = without_graces(piece)
    found = study(plain)
    theirs = {there.note: kind_of(there.grace) for there in page_graces(piece, found)}
    plan = make_plan(plain, found, manner, load_instrument("traverso"), richness=10, count=len(theirs))
    mine = {choice.note: kind_of(choice.grace) for choice in plan.choices if choice.grace}
    both = set(mine) & set(theirs)

    assert len(both) >= 0.8 * len(theirs)
    assert sum(mine[name] == theirs[name] for name in both) >= 0.9 * len(both)
    assert len(mine) <= len(theirs) < len(tones(piece, found.solo))


def test_the_report_says_what_was_learned(folder):
    base = load_manner("german")
    told = report(fit([marked_score(path, base) for path in sorted(folder.glob("*.musicxml"))], base))

    assert "of kind shake" in told
    assert "of kind mordent" in told
    mordent = next(line for line in told.splitlines() if line.startswith("Mordent"))
    assert "rising leap" in mordent.partition("Shuns")[0]


def test_scores_with_too_few_graces_teach_nothing(folder):
    base = load_manner("german")
    plain = marked_score(sorted(folder.glob("*.musicxml"))[0], base)
    plain.labels[:] = -1
    with pytest.raises(BadInput, match="carry only 0 graces"):
        fit([plain], base)


def test_the_command_writes_a_manner_that_loads(folder, tmp_path):
    result = CliRunner().invoke(command, [str(folder), "--name", "mine", "--out", str(tmp_path)])

    assert result.exit_code == 0, result.output
    manner = load_manner(str(tmp_path / "mine.toml"))
    assert manner.set_by == "learned"
    assert {"shake", "mordent"} <= set(manner.kinds)
    assert (tmp_path / "mine.svg").read_text(encoding="utf-8").startswith("<?xml")
    assert "Learned from 6 scores" in (tmp_path / "mine.txt").read_text(encoding="utf-8")


def test_a_cluster_by_its_address_learns_the_same(folder, tmp_path):
    distributed = pytest.importorskip("dask.distributed")
    alone = CliRunner().invoke(command, [str(folder), "--name", "one", "--out", str(tmp_path), "--no-plot"])
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster:
        address = cluster.scheduler_address
        spread = CliRunner().invoke(command, [str(folder), "--name", "two", "--out", str(tmp_path), "--no-plot",
                                              "--cluster", address])  # fmt: skip

    assert address.startswith("tcp://")
    assert (alone.exit_code, spread.exit_code) == (0, 0), spread.output
    one, two = (tomllib.loads((tmp_path / f"{name}.toml").read_text(encoding="utf-8")) for name in ("one", "two"))
    assert (one.pop("id"), two.pop("id")) == ("one", "two")
    assert (one.pop("title"), two.pop("title")) == ("One", "Two")
    assert one == two


def test_a_cluster_that_is_not_there_is_told(folder, tmp_path):
    pytest.importorskip("dask.distributed")
    told = CliRunner().invoke(command, [str(folder), "--name", "mine", "--out", str(tmp_path), "--cluster", "here"])

    assert isinstance(told.exception, BadInput)
    assert "no Dask cluster answers at here" in str(told.exception)


def test_written_out_graces_are_learned_from_a_score_beside_its_plain_one(tmp_path):
    """The counts are those of the plan that was written out."""
    graced = 0
    for name in ("menuet", "adagio"):
        (tmp_path / f"{name}.musicxml").write_bytes(demo_piece(name).read_bytes())
        wishes = Wishes(manner="german", richness=8, signs="ignore", instrument="violin", level="advanced")
        work = work_on(read(demo_piece(name)), wishes)
        (tmp_path / f"{name}-graced.musicxml").write_bytes(result(work, "played.musicxml"))
        graced += sum(choice.grace is not None and choice.grace.id == "shake" for choice in work.plan.choices)
    told = CliRunner().invoke(command, [str(tmp_path), "--name", "mine", "--out", str(tmp_path), "--no-plot"])

    assert told.exit_code == 0, told.output
    assert f"{graced} of kind shake" in told.output
    assert "Learned from 4 scores" in told.output  # two pieces, each heard twice
    assert load_manner(str(tmp_path / "mine.toml")).set_by == "learned"


def test_movements_of_one_name_are_no_pair(folder, tmp_path):
    """tune.musicxml and tune-2.musicxml have other notes: each teaches by its own signs."""
    for number, name in ((0, "tune"), (1, "tune-2"), (2, "tune-3")):
        (tmp_path / f"{name}.musicxml").write_bytes((folder / f"tune{number}.musicxml").read_bytes())
    told = CliRunner().invoke(command, [str(tmp_path), "--name", "mine", "--out", str(tmp_path), "--no-plot"])

    assert told.exit_code == 0, told.output
    assert "Learned from 3 scores" in told.output


def test_every_family_of_the_page_has_a_kind_or_none():
    assert kind_of(Grace("shake")) == "shake"
    assert kind_of(Grace("appoggiatura", direction="above", size="short")) == "short-appoggiatura"
    assert kind_of(Grace("arpeggio")) == ""
