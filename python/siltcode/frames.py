"""Rows of results, and frames of counts scored whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from siltcode import _arrays, _native
from siltcode._display import Table, html_table
from siltcode.codes import NOT_COUNTED
from siltcode.errors import SiltcodeError
from siltcode.specs import SpecLike, spec as read_spec

#: Rows shown in a notebook.
_SHOWN = 30


class Frame:
    """Rows of named columns. Any library that reads the Arrow PyCapsule interface takes it as it is.

    ``polars.DataFrame(frame)``, ``pyarrow.table(frame)`` and ``frame.to_pandas()`` all work; ``frame["id"]`` is one column
    as an array (numbers, NaN where there is none) or a list (text, None where there is none).

    Examples
    --------
    >>> import siltcode
    >>> scores = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score()
    >>> scores.channels
    Frame(3 rows: id, size_um, scale, per_ml, reading, low_per_ml, high_per_ml, number, few, raw, volume_ml)
    >>> scores.channels["per_ml"].tolist()
    [1752.0, 517.0, 55.0]
    """

    __slots__ = ("_columns",)

    def __init__(self, columns: _native.Columns) -> None:
        self._columns = columns

    def __len__(self) -> int:
        return len(self._columns)

    @property
    def columns(self) -> list[str]:
        """The names of the columns."""
        return self._columns.names

    def __getitem__(self, name: str) -> Any:
        return self._columns.column(name)

    def to_dict(self) -> dict[str, Any]:
        """Every column by its name.

        Examples
        --------
        >>> import siltcode
        >>> frame = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score().frame
        >>> frame.to_dict()["iso4406"]
        ['18/16/13']
        """
        return {name: self[name] for name in self.columns}

    def to_pandas(self, index: Any = None) -> Any:
        """A `pandas.DataFrame`, with the given `index`.

        Raises
        ------
        ModuleNotFoundError
            Without the package pandas.

        Examples
        --------
        >>> import siltcode
        >>> frame = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score().frame
        >>> frame.to_pandas(index=["first"])[["id", "iso4406"]]
              id   iso4406
        first  A  18/16/13
        """
        pandas = needed("pandas", "pandas")
        return pandas.DataFrame(self.to_dict(), index=index)

    def to_polars(self) -> Any:
        """A `polars.DataFrame`.

        Raises
        ------
        ModuleNotFoundError
            Without the package polars.

        Examples
        --------
        >>> import siltcode
        >>> frame = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score().frame
        >>> frame.to_polars()["iso4406"].to_list()
        ['18/16/13']
        """
        return needed("polars", "polars").DataFrame(self)

    def to_pyarrow(self) -> Any:
        """A `pyarrow.Table`.

        Raises
        ------
        ModuleNotFoundError
            Without the package pyarrow.

        Examples
        --------
        >>> import siltcode
        >>> frame = siltcode.Batch.of([siltcode.Sample.of({4: 1752, 6: 517, 14: 55}, "A")]).score().frame
        >>> frame.to_pyarrow().column("iso4406").to_pylist()
        ['18/16/13']
        """
        return needed("pyarrow", "arrow").table(self)

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._columns.__arrow_c_stream__(requested_schema)

    def __arrow_c_schema__(self) -> object:
        return self._columns.__arrow_c_schema__()

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Frame) or self.columns != other.columns or len(self) != len(other):
            return NotImplemented if not isinstance(other, Frame) else False
        return all(_same(self[name], other[name]) for name in self.columns)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"Frame({len(self)} rows: {', '.join(self.columns)})"

    def _repr_html_(self) -> str:
        columns = [[_shown(value) for value in self[name][:_SHOWN]] for name in self.columns]
        below = "" if len(self) <= _SHOWN else f"{len(self) - _SHOWN} more rows"
        return html_table(Table(self.columns, list(zip(*columns, strict=True)), below=below))


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, list):
        return bool(one == other)
    return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))


def _shown(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value


def needed(module: str, extra: str) -> Any:
    """An optional package, or a clear word on how to get it."""
    import importlib

    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        message = f"this needs the package {module}, which is not installed: pip install 'siltcode[{extra}]'"
        raise ModuleNotFoundError(message, name=module) from error


def score_frame(
    df: Any,
    columns: Mapping[float, str] | Sequence[str] = ("n4", "n6", "n14"),
    spec: SpecLike | None = None,
) -> Any:
    """Codes, and outcomes against a target, for every row of a frame.

    Parameters
    ----------
    df : pandas or polars frame, pyarrow table or batch, or any object with the Arrow PyCapsule interface
        Cumulative counts per mL, one row a sample [particles/mL]. Missing values and NaN are 'not counted'.
    columns : mapping of size to name, or a sequence of three names
        The columns of the counts at 4, 6 and 14 um(c) (``{4: "n4", 6: "n6", 14: "n14"}``); a size left out was not
        counted.
    spec : str, path, Code or Spec, optional
        The target, as for `spec`: simple acceptance, since rows say nothing of the raw counts.

    Returns
    -------
    frame of the same kind, or Frame
        ``iso4406``, ``number_4``, ``number_6``, ``number_14`` (missing where not counted), with a target ``outcome``
        (``conforms``, ``does not conform`` or ``undecided``), and ``problem``: the code of the error for rows that cannot
        be, whose code and outcome are missing, or that hold no count. The texts are categories. A pandas frame keeps its index. Objects that are none of the named
        libraries' give a `Frame`.

    Raises
    ------
    SiltcodeError
        ``count-unreadable`` with row and column if a column holds no numbers; ``quantity-out-of-range`` if there is no
        such column; ``target-alternatives`` if a particle limit of the target is one of several alternatives.

    Notes
    -----
    Columns of doubles without missing values are read where they are, without a copy. For odds, intervals and verdicts
    with a probability, which rest on raw counts, use `Batch.score`.

    Examples
    --------
    >>> import pandas, siltcode
    >>> df = pandas.DataFrame({"n4": [1752, 9000.0], "n6": [517, 640.0], "n14": [55, 1e4]}, index=["A", "B"])
    >>> siltcode.score_frame(df, spec="18/16/13")[["iso4406", "outcome"]]
        iso4406   outcome
    A  18/16/13  conforms
    B       NaN       NaN
    >>> siltcode.score_frame(df)["problem"]["B"]
    'count-rises-with-size'
    """
    names = _names(columns)
    given = None if spec is None else read_spec(spec).as_given()
    kind = type(df).__module__.partition(".")[0]
    if kind == "pandas":
        counts = [_pandas_column(df, name) for name in names]
        return _pandas_frame(_native.score_columns(counts, given), df.index)
    if not (hasattr(df, "__arrow_c_stream__") or hasattr(df, "__arrow_c_array__")):
        message = f"`{type(df).__name__}` is no frame"
        _arrays.refused("frame-unreadable", message, "give a frame of pandas, polars or pyarrow")
    frame = Frame(_score_stream(df, names, given))
    return frame.to_polars() if kind == "polars" else frame.to_pyarrow() if kind == "pyarrow" else frame


def _score_stream(df: Any, names: list[str | None], given: dict[str, Any] | None) -> _native.Columns:
    try:
        return _native.score_stream(df, names, given)
    except SiltcodeError:
        raise
    except (ValueError, TypeError) as error:
        raise SiltcodeError(str(error), "frame-unreadable", "give a frame of columns, not a single one") from error


def _names(columns: Mapping[float, str] | Sequence[str]) -> list[str | None]:
    if isinstance(columns, Mapping):
        if unknown := set(columns) - {4, 6, 14}:
            message = f"{sorted(unknown)} um(c) are no sizes of the code"
            _arrays.refused("size-unreadable", message, "give columns for 4, 6 and 14")
        return [columns.get(um) for um in (4, 6, 14)]
    names = [columns] if isinstance(columns, str) else list(columns)
    if len(names) != 3:
        message = f"{len(names)} columns are named"
        _arrays.refused("lengths-differ", message, "name the three columns at 4, 6 and 14 um(c), or give a mapping")
    return list(names)


def _pandas_frame(columns: dict[str, Any], index: Any) -> Any:
    """The results in pandas, one column after the other, so that none is held twice."""
    import pandas

    made = {}
    for name in list(columns):
        column = columns.pop(name)
        if isinstance(column, tuple):
            made[name] = pandas.Categorical.from_codes(*column)
        else:
            made[name] = pandas.arrays.IntegerArray(column, column == NOT_COUNTED)
    return pandas.DataFrame(made, index=index, copy=False)


def _pandas_column(df: Any, name: str | None) -> Any:
    if name is None:
        return np.full(len(df), np.nan)
    if name not in df.columns:
        message = f"column {name} is not one of {', '.join(map(str, df.columns))}"
        _arrays.refused("quantity-out-of-range", message, "name the columns with `columns`", column=name)
    column = df[name]
    if column.ndim != 1:
        _arrays.refused("size-repeated", f"column {name} stands more than once", "keep one", column=name)
    return _arrays.flat(_arrays.floats(column, name)[0])
