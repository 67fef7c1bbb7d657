"""What a score may be told besides its target: an earlier bottle, blanks, class systems, the counter."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from pathlib import Path

import pytest
import siltcode
from siltcode import Batch, Sample, SiltcodeError


def _counted(counts: dict[float, int], id: str = "A") -> Sample:
    return Sample.of(counts, id, per="raw", volume_ml="1 mL")


BEFORE = _counted({4: 9000, 6: 3000, 14: 300})
NOW = _counted({4: 1000, 6: 350, 14: 290})


def test_what_stays_while_the_rest_falls_is_flagged() -> None:
    bottles = Batch.of([NOW, _counted({4: 1000, 6: 350, 14: 290}, "B")])
    alone, told = bottles.score(), bottles.score(previous=[BEFORE])
    new = {flag.code for flag in told[0].flags} - {flag.code for flag in alone[0].flags}
    assert len(new) == 1
    assert told[1] == alone[1]  # B has no earlier bottle
    assert bottles.score(previous=Batch.of([BEFORE])) == told
    assert bottles.score(previous=[_counted({4: 1}, "A"), BEFORE]) == told  # the last of a name counts
    assert NOW.score(previous=[BEFORE]) == told[0]
    for again in (pickle.loads(pickle.dumps(told)), copy.copy(told)):
        assert again == told


def test_a_blank_is_compared_with_or_subtracted() -> None:
    blank = _counted({4: 400, 6: 40, 14: 2}, "blank")
    compared, subtracted = NOW.score(blank=blank), NOW.score(subtract=blank)
    assert compared.flags == NOW.score().flags
    assert {flag.code for flag in NOW.score(blank=NOW).flags} == {"blank-too-dirty"}
    assert compared.iso4406 == NOW.score().iso4406
    assert [channel.per_ml for channel in subtracted.channels] == pytest.approx([600, 310, 288])
    assert compared.drowned_in_blank is None
    assert subtracted.drowned_in_blank == ()
    over = NOW.score(subtract=_counted({4: 1000, 6: 900, 14: 2}))
    assert over.drowned_in_blank == ("6 um(c)",)


def test_class_systems_are_asked_beside_the_code() -> None:
    score = NOW.score(classes=["as4059", "nas1638"], convert_to="um(acftd)")
    assert [answer.system for answer in score.classes] == ["as4059", "nas1638"]
    assert str(score.classes[0]) == str(siltcode.as4059({4: 1000, 6: 350, 14: 290}))
    assert score.classes[0].classification == siltcode.as4059({4: 1000, 6: 350, 14: 290})
    converted = siltcode.classify("nas1638", {6.4: 350, 13.6: 290}, convert_to="um(acftd)")
    assert converted.scale == "um(acftd)"
    unsuited = NOW.score(classes="nas1638").classes[0]
    assert (unsuited.classification, unsuited.code) == (None, "class-scale-unsuited")
    assert unsuited.hint
    assert "nas1638" in score._repr_html_()
    assert NOW.score().classes == ()
    with pytest.raises(SiltcodeError) as caught:
        NOW.score(classes="unheard-of")
    assert caught.value.code == "class-system-unknown"


def test_the_counter_may_be_known_by_its_dead_time() -> None:
    assert {flag.code for flag in NOW.score(sensing_volumes=1500).flags} == {"near-saturation"}
    assert {flag.code for flag in NOW.score(dead_time=1e-3).flags} == {"near-saturation"}
    assert NOW.score(dead_time=1e-6).flags == NOW.score().flags


def test_what_else_was_measured_comes_along() -> None:
    bottle = Sample.of({4: 1000}, "A", companions={"water": "150 mg/kg"})
    assert bottle.score().companions == (("water", "150 mg/kg"),)
    assert NOW.score(scatter=0.2).scatter == 0.2


def test_names_that_come_twice_are_noticed_over_all_files(tmp_path: Path) -> None:
    for name in ("monday.csv", "tuesday.csv"):
        (tmp_path / name).write_text("bottle,4 um(c) /mL,6 um(c) /mL,14 um(c) /mL\nA,1752,517,55\n")
    batch = siltcode.read_counts(tmp_path)
    assert batch.ids == ["A", "A"]
    (notice,) = [notice for notice in batch.notices if notice.code == "repeated-id"]
    assert notice.file.endswith("tuesday.csv")
    assert not [notice for notice in siltcode.read_counts(tmp_path / "monday.csv").notices if notice.code == "repeated-id"]


def test_scores_name_the_inputs_of_the_earlier_batch(tmp_path: Path) -> None:
    for name, n4 in (("before.csv", 9000), ("now.csv", 1752)):
        (tmp_path / name).write_text(f"bottle,4 um(c) /mL,6 um(c) /mL\nA,{n4},517\n")
    now, before = siltcode.read_counts(tmp_path / "now.csv"), siltcode.read_counts(tmp_path / "before.csv")
    names = [Path(given["file"]).name for given in now.score(previous=before).provenance["inputs"]]
    assert names == ["now.csv", "before.csv"]
    assert now.score().provenance == now.provenance


def test_written_classes_are_read() -> None:
    for text in ("9A/8B/7C/6D/6E/7F", "6B", "6 B-F", "7", ">12A"):
        assert siltcode.parse_as4059(text) == text
        assert siltcode.parse_as4059(f"AS4059:{text}") == text
    assert siltcode.parse_as4059(str(siltcode.as4059({4: 3000, 6: 500, 14: 60}))) == "9A/8B/7C"
    with pytest.raises(SiltcodeError) as caught:
        siltcode.parse_as4059("13A")
    assert caught.value.code == "class-not-in-system"


def test_then_and_now_say_what_became_of_each_size() -> None:
    def bottle(name: str, raws: list[int], point: str) -> Sample:
        runs = [{4: raw, 6: raw // 4, 14: min(30, raw // 8)} for raw in raws]
        made = Sample.of(runs, name, per="raw", volume_ml=10)
        return dataclasses.replace(made, fields=(("tank", "North"), ("point", point)))

    then = Batch.of([bottle("May-1", [9000, 9050, 8990], "middle"), bottle("May-2", [9000, 9010, 9020], "bottom")])
    now = Batch.of([bottle("June-1", [6000, 6020, 5990], "middle"), bottle("June-3", [10, 11, 12], "top")])
    scores = now.score(previous=then, match="point")
    previous = scores[0].previous
    assert previous is not None
    assert previous.id == "May-1"
    assert [(at.size, at.change) for at in previous.sizes][:2] == [("4 um(c)", "fell"), ("6 um(c)", "fell")]
    assert previous.sizes[0].p is not None
    assert previous.sizes[0].p > 0.95
    assert scores.unmatched == {"now": ("June-3",), "previous": ("May-2",)}
    assert now.score(previous=then)[0].previous is None
    wide = now.score(previous=then, match="point", scatter=0.5)[0].previous
    assert wide is not None
    assert wide.sizes[0].change == "cannot-tell"
