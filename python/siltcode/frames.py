"""Rows of results, and frames of counts scored whole."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, TypeVar

import numpy as np

from siltcode import _arrays, _native
from siltcode._display import SHOWN, Table, html_table
from siltcode.codes import NOT_COUNTED
from siltcode.decision import Rule
from siltcode.errors import SiltcodeError
from siltcode.samples import BySize
from siltcode.specs import SpecLike, spec as read_spec
from siltcode.units import in_unit, number_in

T = TypeVar("T")



class Frame:
    """Rows of named columns. Any library that reads the Arrow PyCapsule interface takes it as it is.

    ``polars.DataFrame(frame)``, ``pyarrow.table(frame)`` and ``frame.to_pandas()`` all work; ``frame["id"]`` is one column
    as an array (numbers, NaN where there is none; range numbers as bytes, `NOT_COUNTED` where there is none) or a list
    (text, None where there is none).

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

    def __hash__(self) -> int:
        return hash((len(self), *self.columns))

    def __reduce__(self) -> tuple[Any, ...]:
        return _frame_of_parts, (self._columns.parts(),)

    def __repr__(self) -> str:
        return f"Frame({len(self)} rows: {', '.join(self.columns)})"

    def _repr_html_(self) -> str:
        columns = [[_shown(value) for value in self[name][:SHOWN]] for name in self.columns]
        below = "" if len(self) <= SHOWN else f"{len(self) - SHOWN} more rows"
        return html_table(Table(self.columns, list(zip(*columns, strict=True)), below=below))


def _frame_of_parts(parts: list[Any]) -> Frame:
    return Frame(_native.columns_of_parts(parts))


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
    columns: BySize[str] | Sequence[str] = ("n4", "n6", "n14"),
    spec: SpecLike | None = None,
    *,
    per: Literal["mL", "raw"] = "mL",
    volume_ml: Any = None,
    dilution: Any = 1.0,
    level: float = 0.95,
    rule: Rule | None = None,
    repeatability: float | None = None,
    scatter: float | None = None,
    bottle: str | None = None,
) -> Any:
    """Codes, and outcomes against a target, for every row of a frame; with certainty where the counts are raw.

    Parameters
    ----------
    df : pandas or polars frame, pyarrow table or batch, or any object with the Arrow PyCapsule interface
        Cumulative counts, one row a sample [particles/mL or particles]. Missing values and NaN are 'not counted'.
    columns : mapping of size to name, or a sequence of three names
        The columns of the counts at 4, 6 and 14 um(c) (``{4: "n4", 6: "n6", 14: "n14"}``); a size left out was not
        counted.
    spec : str, path, Code or Spec, optional
        The target, as for `spec`.
    per : {"mL", "raw"}
        What the counts are: concentrations, or particles counted.
    volume_ml : str, number or pint quantity
        With raw counts: the column of the counted volumes, after dilution, or one volume for all rows [mL].
    dilution : str or number
        With raw counts: the column of the dilution factors, or one for all rows [-].
    level : float
        With raw counts: the level of intervals and of the decision rule, ``0 < level < 1`` [-].
    rule : {"simple-acceptance", "guard-band", "conformity"}, optional
        With raw counts: the decision rule; without it conformity. Concentrations are judged by simple acceptance, since
        they say nothing of what was counted.
    repeatability : float, optional
        With raw counts: the coefficient of variation between runs of one bottle, 0 to 1 [-]. Runs of the frame are allowed for
        with it, or without it by themselves; a warning says where they contradict it.
    scatter : float, optional
        With raw counts: the coefficient of variation between bottles of the same fluid [-].
    bottle : str, optional
        With raw counts: the column that names the bottle of each row. Rows of the same bottle are its runs, and each has the
        result of all of them together. Without it each row is a bottle of one run.

    Returns
    -------
    frame of the same kind, or Frame
        ``iso4406``, ``number_4``, ``number_6``, ``number_14`` (missing where not counted), with a target ``outcome``
        (``conforms``, ``does not conform`` or ``undecided``), and ``problem``: the code of the error for rows that cannot
        be, whose code and outcome are missing, or that hold no count. With raw counts for each size besides ``per_ml_4``
        and its interval ``low_4`` to ``high_4`` [particles/mL], the odds ``odds_4`` of its range number [-], and with a
        target ``p``, the probability that all its limits on particles are met [-]; ``counting_only`` where no runs and no
        stated variation are allowed for. A pandas frame keeps its index, and
        its texts are categories. Objects that are none of the named libraries' give a `Frame`.

    Raises
    ------
    SiltcodeError
        ``count-unreadable`` with row and column if a column holds no numbers; ``quantity-out-of-range`` if there is no
        such column; ``raw-without-volume``; for concentrations ``target-alternatives`` if a particle limit of the target
        is one of several alternatives.

    Notes
    -----
    Columns of doubles without missing values are read where they are, without a copy, if they are concentrations. Rows of
    raw counts are scored as `Batch.score` scores bottles, on all cores.

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
    >>> counted = pandas.DataFrame({"n4": [1752, 88], "n6": [517, 26], "n14": [74, 3], "mL": [1.0, 0.05]})
    >>> siltcode.score_frame(counted, spec="18/16/13", per="raw", volume_ml="mL")[["iso4406", "outcome", "p"]].round(2)
          iso4406    outcome     p
    0    18/16/13  undecided  0.73
    1  18/16/>=13  undecided  0.51
    """
    names = _names(columns)
    kind = type(df).__module__.partition(".")[0]
    if kind != "pandas" and not (hasattr(df, "__arrow_c_stream__") or hasattr(df, "__arrow_c_array__")):
        message = f"`{type(df).__name__}` is no frame"
        _arrays.refused("frame-unreadable", message, "give a frame of pandas, polars or pyarrow")
    given = None if spec is None else read_spec(spec).as_given()
    if _arrays.one_of(per, "per", ("mL", "raw")) == "raw":
        how = {"level": float(level), "rule": rule, "repeatability": repeatability, "scatter": scatter}
        counted = _raw_columns(df, names, volume_ml, dilution)
        bottles = None if bottle is None else _bottles(df, bottle)
        scored, contradicted = _native.score_raw(*counted, bottles, given, how)
        if contradicted is not None:
            warnings.warn(contradicted, stacklevel=2)
        frame = Frame(scored)
        return _pandas_frame(frame.to_dict(), df.index) if kind == "pandas" else _alike(frame, kind)
    if kind == "pandas":
        counts = [_pandas_column(df, name) for name in names]
        return _pandas_frame(_native.score_columns(counts, given), df.index)
    return _alike(Frame(_of_stream(_native.score_stream, df, names, given)), kind)


def _alike(frame: Frame, kind: str) -> Any:
    return frame.to_polars() if kind == "polars" else frame.to_pyarrow() if kind == "pyarrow" else frame


def _raw_columns(df: Any, names: list[str | None], volume_ml: Any, dilution: Any) -> tuple[list[Any], Any, Any]:
    """The raw counts, volumes and dilutions as columns of one length."""
    known = _column_names(df)
    named = [given if _is_column(given, known) else None for given in (volume_ml, dilution)]
    *raw, volumes, dilutions = _columns(df, [*names, *named])
    if volume_ml is None:
        _arrays.refused("raw-without-volume", "raw counts say nothing without their volume", "give `volume_ml`")
    if named[0] is None:
        volumes = np.full(len(raw[0]), number_in(volume_ml, "mL"))
    if named[1] is None:
        dilutions = np.full(len(raw[0]), float(dilution))
    return raw, volumes, dilutions


def _bottles(df: Any, column: str) -> Any:
    """The bottle of each row, as the place of its name among all names."""
    if column not in _column_names(df):
        _arrays.refused("quantity-out-of-range", f"no column `{column}` in the frame", "name the column of the bottles")
    values = df.column(column).to_pylist() if hasattr(df, "column_names") else list(df[column])
    places: dict[Any, int] = {}
    return np.array([places.setdefault(value, len(places)) for value in values], dtype=np.uint64)


def _is_column(given: Any, known: Sequence[Any]) -> bool:
    """Whether it names a column: one of those known or, of a frame that does not say them, text that is no quantity."""
    if not isinstance(given, str) or known:
        return isinstance(given, str) and given in known
    try:
        in_unit(given, "mL")
    except SiltcodeError:
        return True
    return False


def _columns(df: Any, names: list[str | None]) -> list[Any]:
    """The named columns as arrays of doubles."""
    if type(df).__module__.partition(".")[0] == "pandas":
        return [_pandas_column(df, name) for name in names]
    return _of_stream(_native.columns_of_stream, df, names)


def _of_stream(function: Callable[..., T], df: Any, *given: Any) -> T:
    try:
        return function(df, *given)
    except SiltcodeError:
        raise
    except (ValueError, TypeError) as error:
        raise SiltcodeError(str(error), "frame-unreadable", "give a frame of columns, not a single one") from error


def _names(columns: BySize[str] | Sequence[str]) -> list[str | None]:
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

    made: dict[str, Any] = {}
    for name in list(columns):
        column = columns.pop(name)
        if isinstance(column, tuple):
            made[name] = pandas.Categorical.from_codes(*column)
        elif isinstance(column, list):
            made[name] = pandas.Categorical(column)
        elif column.dtype == np.uint8:
            made[name] = pandas.arrays.IntegerArray(column, column == NOT_COUNTED)
        else:
            made[name] = column
    return pandas.DataFrame(made, index=index, copy=False)


def _column_names(df: Any) -> Sequence[Any]:
    """The names of a frame's columns; none for an object that does not say them."""
    names = getattr(df, "column_names", getattr(df, "columns", ()))
    return list(names) if not callable(names) else ()


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
