"""Whatever array is given, in whatever form: the plain answer, or this package's error with its place; never a panic."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas
import polars
import pyarrow
import pytest
import siltcode
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from siltcode import SiltcodeError
from support import cases

quick = cases(30)


class Form(NamedTuple):
    """A way to hand over the same values."""

    name: str
    made: Callable[[np.ndarray], Any]


def _strided(values: np.ndarray) -> np.ndarray:
    wide = np.full((*values.shape[:-1], 2 * values.shape[-1]), -1.0)
    wide[..., ::2] = values
    return wide[..., ::2]


def _flipped(values: np.ndarray) -> np.ndarray:
    return values[..., ::-1].copy()[..., ::-1]


def _read_only(values: np.ndarray) -> np.ndarray:
    values = values.copy()
    values.flags.writeable = False
    return values


def _unaligned(values: np.ndarray) -> np.ndarray:
    room = np.zeros(values.nbytes + 1, np.uint8)
    room[1:] = np.frombuffer(values.tobytes(), np.uint8)
    return room[1:].view(np.float64).reshape(values.shape)


#: Forms of any shape.
FORMS = [
    Form("list", lambda values: values.tolist()),
    Form("objects", lambda values: values.astype(object)),
    Form("big-endian", lambda values: values.astype(">f8")),
    Form("long", lambda values: values.astype(np.longdouble)),
    Form("fortran", np.asfortranarray),
    Form("strided", _strided),
    Form("flipped", _flipped),
    Form("read-only", _read_only),
    Form("unaligned", _unaligned),
    Form("masked", lambda values: np.ma.MaskedArray(values, np.isnan(values))),
]
#: Forms of one dimension.
FLAT = [
    Form("pandas", pandas.Series),
    Form("pandas nullable", lambda values: pandas.Series(values, dtype="Float64")),
    Form("pandas arrow", lambda values: pandas.Series(values, dtype="float64[pyarrow]")),
    Form("polars", lambda values: polars.Series("n4", values)),
    Form("polars null", lambda values: polars.Series("n4", [None if np.isnan(v) else float(v) for v in values])),
    Form("pyarrow", pyarrow.array),
    Form("pyarrow null", lambda values: pyarrow.array(values, mask=np.isnan(values))),
    Form("chunks", lambda values: pyarrow.chunked_array([values[:1], values[1:]])),
]

COUNTS = st.one_of(st.floats(0, 1e9), st.just(float("nan")), st.sampled_from([0.0, 0.01, 2500.0, 2.5e6]))
SHAPED = arrays.arrays(np.float64, arrays.array_shapes(min_dims=1, max_dims=3, min_side=0, max_side=4), elements=COUNTS)
COLUMN = arrays.arrays(np.float64, st.integers(1, 6), elements=COUNTS)


def _plain(found: Any) -> list[Any]:
    """The values of a result of any kind, in order."""
    if isinstance(found, (pyarrow.Array, polars.Series)):
        return list(found.to_pylist() if isinstance(found, pyarrow.Array) else found.to_list())
    return list(np.ma.getdata(np.asarray(found)).ravel().tolist())


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
@quick
@given(SHAPED)
def test_any_form_of_any_shape(form: Form, values: np.ndarray) -> None:
    found = siltcode.range_numbers(form.made(values))
    assert np.shape(found) == np.shape(form.made(values))
    assert _plain(found) == siltcode.range_numbers(values).ravel().tolist()


@pytest.mark.parametrize("form", [*FORMS, *FLAT], ids=lambda form: form.name)
@quick
@given(COLUMN)
def test_any_form_of_a_column(form: Form, values: np.ndarray) -> None:
    given = form.made(values)
    assert _plain(siltcode.range_numbers(given)) == siltcode.range_numbers(values).tolist()
    codes = siltcode.iso4406(given, form.made(values / 2), form.made(values / 4))
    assert [None if pandas.isna(code) else code for code in _plain(codes)] == siltcode.iso4406(
        values, values / 2, values / 4
    ).tolist()
    low, _ = siltcode.poisson_interval(form.made(np.floor(values)))
    np.testing.assert_array_equal(np.array(_plain(low), float), siltcode.poisson_interval(np.floor(values))[0])


@quick
@given(arrays.arrays(arrays.scalar_dtypes(), arrays.array_shapes(min_dims=0, max_dims=2, min_side=0, max_side=3)))
def test_any_type_of_number_or_this_packages_error(values: np.ndarray) -> None:
    """Numbers of any width and byte order, and whatever else numpy holds: truth, text, dates, complex numbers."""
    if values.dtype.kind in "iuf":
        found = siltcode.range_numbers(values)
        assert np.shape(found) == values.shape
        expected = siltcode.range_numbers(values.astype(np.float32 if values.dtype == np.float32 else np.float64))
        assert np.ravel(found).tolist() == np.ravel(expected).tolist()
        return
    for call in (siltcode.range_numbers, siltcode.poisson_interval, siltcode.range_bounds, siltcode.iso4406):
        with pytest.raises(SiltcodeError) as caught:
            call(values)
        assert caught.value.code == "count-unreadable"


@pytest.mark.parametrize("make", [list, lambda values: np.array(values, object), pandas.Series], ids=["list", "numpy", "pandas"])
@quick
@given(st.lists(st.floats(0, 1e6), max_size=5), st.text(min_size=1), st.lists(st.floats(0, 1e6), max_size=5))
def test_text_among_numbers_is_found(make: Any, before: list[float], word: str, after: list[float]) -> None:
    given = make([*before, word, *after])
    with pytest.raises(SiltcodeError) as caught:
        siltcode.range_numbers(given)
    assert (caught.value.code, caught.value.column) == ("count-unreadable", "per_ml")
    if make is not list:
        assert caught.value.line == len(before)
        assert repr(word)[1:-1] in caught.value.message or word in caught.value.message


@quick
@given(st.lists(arrays.array_shapes(max_dims=3, max_side=3), min_size=3, max_size=3))
def test_shapes_broadcast_as_numpy_does_or_are_refused(shapes: list[tuple[int, ...]]) -> None:
    given = [np.full(shape, count) for shape, count in zip(shapes, (1752.0, 517.0, 55.0), strict=True)]
    try:
        shape = np.broadcast_shapes(*shapes)
    except ValueError:
        with pytest.raises(SiltcodeError) as caught:
            siltcode.iso4406(*given)
        assert caught.value.code == "shapes-differ"
        return
    assert siltcode.iso4406(*given).shape == shape


FLOATS = arrays.arrays(np.float64, st.integers(0, 5), elements=st.floats())


@quick
@given(FLOATS, st.floats(), st.floats())
def test_no_number_panics(values: np.ndarray, level: float, scatter: float) -> None:
    """Infinite, negative, tiny, huge: an answer or this package's error."""
    job = siltcode.passes("22/20/17", "18/16/13", {4: 3}, 18, 60, beta_spread=1.5)
    for call in (
        lambda: siltcode.range_numbers(values),
        lambda: siltcode.range_bounds(values),
        lambda: siltcode.iso4406(values, values, values),
        lambda: siltcode.poisson_interval(values, level),
        lambda: siltcode.code_odds(values, 1.0, scatter=scatter),
        lambda: siltcode.code_odds(5, values),
        lambda: siltcode.code_odds(5, 1.0, values),
        lambda: siltcode.guarded(values, scatter, level),
        lambda: siltcode.agreement(values, level=level),
        lambda: siltcode.agreement([5] * len(values), values),
        lambda: job.clean_after(values),
        lambda: job.path(values),
        lambda: job.quantile(level),
        lambda: siltcode.plan_volume(scatter, level),
        lambda: siltcode.coincidence(scatter, level),
        lambda: siltcode.in_numbers(scatter, level),
        lambda: siltcode.most_to_accept(scatter, level),
        lambda: siltcode.compare((scatter, level), (level, scatter)),
    ):
        _answers_or_refuses(call)


def _answers_or_refuses(call: Callable[[], Any]) -> None:
    try:
        call()
    except SiltcodeError as error:
        assert error.code
        assert error.hint


@quick
@given(st.lists(st.tuples(st.floats(), st.floats()), max_size=4), st.floats(), st.floats(), st.floats())
def test_no_bottle_or_tank_panics(counts: list[tuple[float, float]], volume: float, more: float, other: float) -> None:
    sized = dict(counts)
    for call in (
        lambda: siltcode.Sample.of(sized).score("18/16/13"),
        lambda: siltcode.Sample.of(sized, per="raw", volume_ml=volume, dilution=more).score("18/16/13", level=other),
        lambda: siltcode.Sample.of(sized, differential=True, per="100 mL").code,
        lambda: siltcode.decide(siltcode.Sample.of({4: 95}, per="raw", volume_ml=1), sized, scatter=other),
        lambda: siltcode.as4059(sized),
        lambda: siltcode.nas1638(sized, differential=True),
        lambda: siltcode.Beta(sized).bins([4, 6, 14]),
        lambda: siltcode.passes(sized, "18/16/13", {4: 3}, volume, more),
        lambda: siltcode.passes("22/20/17", sized, {4: 3}, 18, 60),
        lambda: siltcode.passes("22/20/17", "18/16/13", {4: 3}, 18, 60, ingress=sized, bypass=volume, margin=more),
        lambda: siltcode.passes("22/20/17", "18/16/13", {4: 3}, 18, 60, dead_zone=(volume, more), mixing=other),
        lambda: siltcode.passes("22/20/17", "18/16/13", {4: 3}, 18, 60, beta_spread=volume, start_spread=more),
        lambda: siltcode.convert_size(volume, "um(c)", "um(acftd)"),
        lambda: siltcode.diluted(4, 400, volume, more, other),
        lambda: siltcode.less_blank(4, (400, volume), (36, more), other),
    ):
        _answers_or_refuses(call)


def test_mixed_scales_are_refused() -> None:
    c, acftd = (siltcode.Run((siltcode.Channel(5, 400.0),), scale) for scale in ("um(c)", "um(acftd)"))
    mixed = siltcode.Sample((c, acftd), "A")
    old = siltcode.Sample.of({5: 400, 15: 50}, scale="um(acftd)")
    new = siltcode.Sample.of({4: 1752, 6: 517, 14: 55})
    for call in (
        lambda: mixed.code,
        lambda: mixed.channels,
        lambda: mixed.score("18/16/13"),
        lambda: new.score(subtract=old),
        lambda: siltcode.passes(old, "18/16/13", {4: 3}, 18, 60),
    ):
        with pytest.raises(SiltcodeError) as caught:
            call()
        assert caught.value.code in ("scales-mixed", "start-missing"), call


@pytest.mark.parametrize("cells", [0, -3, 10**9])
def test_cells_that_cannot_be(cells: int) -> None:
    with pytest.raises(SiltcodeError) as caught:
        siltcode.passes("22/20/17", "18/16/13", {4: 3}, 18, 60, cells=cells)
    assert caught.value.code == "quantity-out-of-range"


@pytest.mark.parametrize("given", [(), (5,), (5, 1, 1, 1)])
def test_counts_of_too_few_or_too_many_parts(given: Sequence[float]) -> None:
    for call in (lambda: siltcode.compare(given, (5, 1)), lambda: siltcode.less_blank(4, (5, 1), given)):
        with pytest.raises(SiltcodeError) as caught:
            call()
        assert caught.value.code == "lengths-differ"


def test_counts_of_several_sizes_are_not_runs() -> None:
    with pytest.raises(SiltcodeError) as caught:
        siltcode.agreement([[1, 2], [3, 4]])
    assert caught.value.code == "shapes-differ"


@pytest.mark.parametrize("make", [pandas.DataFrame, polars.DataFrame, pyarrow.table])
@quick
@given(st.integers(0, 3), st.sampled_from(["n4", "n6", "n14"]), st.text(min_size=1).filter(lambda word: "\0" not in word))
def test_text_in_a_frame_is_found(make: Any, row: int, name: str, word: str) -> None:
    assume(not word.isspace())
    columns: dict[str, list[Any]] = {column: [9.0, 9.0, 9.0, 9.0] for column in ("n4", "n6", "n14")}
    columns[name] = [None] * row + [word] + [None] * (3 - row)
    with pytest.raises(SiltcodeError) as caught:
        siltcode.score_frame(make(columns))
    assert (caught.value.code, caught.value.line, caught.value.column) == ("count-unreadable", row, name)


@quick
@given(arrays.arrays(np.float64, (4, 3), elements=st.floats()))
def test_every_kind_of_frame_agrees(values: np.ndarray) -> None:
    columns = {name: values[:, i] for i, name in enumerate(("n4", "n6", "n14"))}
    expected = siltcode.score_frame(pandas.DataFrame(columns), spec="18/16/13").astype(object)
    for make in (polars.DataFrame, pyarrow.table):
        found = pyarrow.table(siltcode.score_frame(make(columns), spec="18/16/13")).to_pydict()
        for name, column in found.items():
            assert [None if pandas.isna(value) else value for value in expected[name]] == column, name
