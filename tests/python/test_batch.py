"""Bottles from files, scored."""

from __future__ import annotations

import copy
import pickle
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas
import polars
import pyarrow
import pytest
import siltcode
from siltcode import SiltcodeError


@pytest.fixture(scope="module")
def batch(demo: Path) -> siltcode.Batch:
    return siltcode.read_counts(demo)


@pytest.fixture(scope="module")
def scores(batch: siltcode.Batch, demo: Path) -> siltcode.Scores:
    return batch.score(demo / "day-tank.toml")


def test_the_demo_is_read_whole(batch: siltcode.Batch) -> None:
    assert len(batch) == len(batch.ids) == len(list(batch)) > 10
    (problem,) = batch.problems
    assert problem.line
    assert problem.hint
    assert batch[0].id == batch.ids[0] == "HB-01"
    assert batch[-1].id == batch.ids[-1]
    assert [bottle.id for bottle in batch[1:3]] == batch.ids[1:3]
    with pytest.raises(IndexError):
        batch[len(batch)]
    assert {len(digest["sha256"]) for digest in batch.provenance["inputs"]} == {64}


def test_a_bottle_made_by_hand_is_the_bottle_that_was_read(batch: siltcode.Batch, demo: Path) -> None:
    assert list(siltcode.Batch.of(batch)) == list(batch)
    one = siltcode.read_counts(demo / "bunker-tank.csv")  # bottles made by hand are one pool, as those of a file are
    assert list(siltcode.Batch.of(one).score("18/16/13")) == list(one.score("18/16/13"))


def test_scores_agree_with_the_command(scores: siltcode.Scores) -> None:
    """The lines of README's example, which are the command's own."""
    root = Path(__file__).resolve().parents[2]
    lines = [line.split() for line in (root / "README.md").read_text(encoding="utf-8").splitlines()]
    by_id = {score.id: score for score in scores}
    shown = [words for words in lines if words and words[0] in by_id]
    assert len(shown) >= 3
    for id, *words in shown:
        verdict = by_id[id].verdict
        assert verdict is not None
        assert by_id[id].iso4406 in words
        assert " ".join(words).endswith(verdict.outcome), id


def test_scores_go_to_every_library(scores: siltcode.Scores) -> None:
    df = scores.to_pandas()
    assert df["id"].tolist() == [score.id for score in scores]
    assert scores.to_polars()["iso4406"].to_list() == [score.iso4406 for score in scores]
    assert pyarrow.table(scores).column("outcome").to_pylist() == [s.verdict and s.verdict.outcome for s in scores]
    assert polars.DataFrame(scores.channels).height == sum(len(score.channels) for score in scores)
    assert scores.frame == scores.frame
    assert scores.frame != scores.channels
    assert isinstance(scores.channels.to_pandas(), pandas.DataFrame)


def test_intervals_hold_the_count_and_odds_sum_to_one(scores: siltcode.Scores) -> None:
    known = [channel for score in scores for channel in score.channels if channel.interval_per_ml]
    assert known
    for channel in known:
        low, high = channel.interval_per_ml or (0, 0)
        assert isinstance(channel.per_ml, float)
        assert low <= channel.per_ml <= high
        assert channel.odds is not None
        assert sum(channel.odds.values()) == pytest.approx(1.0, abs=1e-4)


def test_copies(batch: siltcode.Batch, scores: siltcode.Scores) -> None:
    for value in (batch, scores, scores[0], batch[0]):
        for again in (pickle.loads(pickle.dumps(value)), copy.copy(value), copy.deepcopy(value)):
            assert again == value
            assert hash(again) == hash(value)
            assert repr(again) == repr(value)
    made = siltcode.Batch.of(batch[:2])
    assert pickle.loads(pickle.dumps(made)) == made


def test_many_threads_give_the_same_scores(batch: siltcode.Batch) -> None:
    def scored(_: int) -> bytes:
        return pickle.dumps(list(batch.score("18/16/13")))

    alone = scored(0)
    with ThreadPoolExecutor(6) as pool:
        assert set(pool.map(scored, range(12))) == {alone}


def test_displays_escape_what_came_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "odd.csv"
    rows = "<script>alert(1)</script>,1752,517,55\n<b>bad</b>,1,2,3\n"
    file.write_text("bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\n" + rows)
    odd = siltcode.read_counts(file)
    scores = odd.score("18/16/13")
    for shown in (odd, odd[0], scores, scores[0], scores.frame, scores.channels):
        html = shown._repr_html_()
        assert "<script" not in html
        assert "<b>" not in html
        assert "\n" not in repr(shown)
    assert "&lt;script&gt;" in scores._repr_html_()


def test_rejected_rows_can_be_written_and_read_again(batch: siltcode.Batch, tmp_path: Path) -> None:
    batch.write_rejects(tmp_path / "rejects.csv")
    assert len(siltcode.read_counts(tmp_path / "rejects.csv").problems) == len(batch.problems)


def test_corrected_rows_replace_those_of_their_file(tmp_path: Path) -> None:
    text = "bottle,run,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1,1752,517,55\nA,2,17x2,520,54\nA,3,1750,519,52\n"
    day, rejects, whole = tmp_path / "day.csv", tmp_path / "to-correct.csv", tmp_path / "whole.csv"
    day.write_text(text)
    whole.write_text(text.replace("17x2", "1742"))
    siltcode.read_counts(day).write_rejects(rejects)
    rejects.write_text(rejects.read_text().replace("A,2,17x2", "A,2,1742"))
    together = siltcode.read_counts([day, rejects])
    assert list(together) == list(siltcode.read_counts(whole))
    assert together.problems == ()
    assert "rows-corrected" in [notice.code for notice in together.notices]


def test_a_bottle_that_cannot_be_scored_is_a_problem() -> None:
    runs = (
        siltcode.Run((siltcode.Channel(4, 10.0), siltcode.Channel(6, 5.0))),
        siltcode.Run((siltcode.Channel(14, 9.0),)),
    )
    scores = siltcode.Batch.of([siltcode.Sample(runs, "A"), siltcode.Sample.of({4: 1.0}, "B")]).score()
    assert [score.id for score in scores] == ["B"]
    assert [(problem.found, problem.code) for problem in scores.problems] == [("A", "count-rises-with-size")]
    with pytest.raises(SiltcodeError, match="rise with size"):
        siltcode.Sample(runs, "A").score()


def test_what_else_was_measured() -> None:
    bottle = siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, companions={"water": "250 mg/kg", "appearance": "hazy"})
    spec = siltcode.spec('code = "18/16/13"\nwater = "200 mg/kg"\nappearance = "clear and bright"')
    verdict = bottle.score(spec).verdict
    assert verdict is not None
    found = {item.subject: item.finding for item in verdict.findings}
    assert (found["water"], found["appearance"], found["4 um(c)"]) == ("not met", "not met", "met")
    assert str(verdict) == "does not conform"


def test_a_blank_is_subtracted_per_band() -> None:
    bottle = siltcode.Sample.of({4: 100, 6: 30, 14: 2})
    blank = siltcode.Sample.of({4: 10, 6: 5, 14: 4})
    score = bottle.score(subtract=blank)
    assert [channel.per_ml for channel in score.channels] == [92.0, 27.0, 0.0]


def test_specifications() -> None:
    for name in siltcode.specs():
        spec = siltcode.spec(name)
        assert spec.name == name
        assert spec.requirements
        assert pickle.loads(pickle.dumps(spec)) == spec
    with pytest.raises(SiltcodeError) as caught:
        siltcode.spec("16/18/13")
    assert caught.value.code == "code-rises-with-size"
    with pytest.raises(SiltcodeError) as caught:
        siltcode.spec("wwfc")
    assert caught.value.code == "spec-unknown"


def test_a_specification_in_a_file_names_its_place(tmp_path: Path) -> None:
    file = tmp_path / "spec.toml"
    file.write_text('code = "18/16/13"\nwater = 3\n')
    with pytest.raises(SiltcodeError) as caught:
        siltcode.spec(file)
    assert caught.value.file == str(file)


def test_files_that_cannot_be_used(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").touch()
    with pytest.raises(SiltcodeError) as caught:
        siltcode.read_counts(tmp_path / "empty.csv")
    assert (caught.value.code, caught.value.file) == ("input-empty", str(tmp_path / "empty.csv"))
    with pytest.raises(FileNotFoundError):
        siltcode.read_counts(tmp_path / "none.csv")


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch, scores: siltcode.Scores) -> None:
    monkeypatch.setitem(sys.modules, "polars", None)
    with pytest.raises(ModuleNotFoundError, match=r"pip install 'siltcode\[polars\]'"):
        scores.to_polars()
