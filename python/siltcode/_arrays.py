"""Anything array-like in, the same kind out: the one place where that is done."""

from __future__ import annotations

import math
import numbers
from collections.abc import Callable, Sequence
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from siltcode import _native
from siltcode.errors import SiltcodeError

#: What turns a result array, of the shape that was given, into the kind that was given.
Restore = Callable[[NDArray[Any]], Any]


def floats(given: Any, name: str) -> tuple[NDArray[Any], Restore]:
    """The values as a float array of the given shape, NaN where there is none, and the way back."""
    restore = _way_back(given)
    return _numbers(given, name), restore


def together(**given: Any) -> tuple[list[NDArray[Any]], Restore]:
    """Several arguments, broadcast as numpy does; the way back is that of the first that is no plain number."""
    arrays = {name: _numbers(value, name) for name, value in given.items()}
    try:
        broadcast = np.broadcast_arrays(*arrays.values())
    except ValueError:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in arrays.items())
        message = f"the shapes do not fit together: {shapes}"
        refused("shapes-differ", message, "give arrays of one shape, or numbers")
    ranks = [value for name, value in given.items() if arrays[name].shape == broadcast[0].shape]
    return list(broadcast), _way_back(next(filter(_has_kind, ranks), ranks[0] if ranks else broadcast[0]))


def mapped(function: Callable[..., Any], dtype: type = float, /, **given: Any) -> Any:
    """A function of plain numbers over arrays, broadcast; the same kind out, NaN where a value is not counted."""
    arrays, back = together(**given)
    rows = zip(*(array.astype(np.float64).flat for array in arrays), strict=True)
    counted = (None if np.isnan(values).any() else map(float, values) for values in rows)
    each = [math.nan if values is None else _placed(function, row, *values) for row, values in enumerate(counted)]
    return back(np.array(each, dtype).reshape(arrays[0].shape))


def _placed(function: Callable[..., Any], row: int, *values: float) -> Any:
    """The result of a row; an error says which it was."""
    try:
        return function(*values)
    except SiltcodeError as error:
        raise SiltcodeError(error.message, error.code, error.hint, line=row) from error


def flat(array: NDArray[Any], dtype: Any = np.float64) -> NDArray[Any]:
    """One-dimensional, contiguous, aligned, in this machine's byte order: what the native module takes."""
    return np.require(array, dtype, ["C_CONTIGUOUS", "ALIGNED"]).reshape(-1)


def whole(given: Any, name: str) -> int:
    """A whole number of 0 or more that the native module can count to."""
    if isinstance(given, (int, np.integer)) and not isinstance(given, bool) and 0 <= given < 2**32:
        return int(given)
    refused("quantity-out-of-range", f"{name} {given} is not a whole number of 0 or more", f"give a whole number for `{name}`")


def one_of(given: Any, name: str, choices: Sequence[str]) -> str:
    """One of a few words."""
    if given in choices:
        return str(given)
    refused("quantity-out-of-range", f"{name} `{given}` is not one of {', '.join(choices)}", "give one of these words")


def refused(code: str, message: str, hint: str, **place: Any) -> NoReturn:
    """Raises the package's exception."""
    raise SiltcodeError(message, code, hint, **place)


def _has_kind(given: Any) -> bool:
    return not (given is None or isinstance(given, (numbers.Real, np.ndarray, Sequence)))


def _module(given: Any) -> str:
    return type(given).__module__.partition(".")[0]


def _numbers(given: Any, name: str) -> NDArray[Any]:
    array = _array(given, name)
    if array.dtype.kind in "iuf":
        wide = array.dtype.kind != "f" or array.dtype.itemsize not in (4, 8)
        dtype = np.dtype(np.float64) if wide else array.dtype.newbyteorder("=")
        return _without_masked(given, array.astype(dtype, copy=False))
    if array.dtype.kind == "O":
        return np.array([_number(value, name, i) for i, value in enumerate(array.flat)], float).reshape(array.shape)
    return _refuse_all(array, name)


def _array(given: Any, name: str) -> NDArray[Any]:
    """What numpy makes of it, missing values as NaN."""
    if _module(given) == "pandas" and hasattr(given, "to_numpy"):
        dtype = getattr(given, "dtype", None)
        if getattr(dtype, "na_value", None) is not None and getattr(dtype, "kind", "O") in "iuf":
            return np.asarray(given.to_numpy(dtype=np.float64, na_value=math.nan))
        return np.asarray(given.to_numpy())
    if given is None:
        return np.array(math.nan)
    try:
        return np.asarray(given)
    except ValueError:  # rows of unequal length
        refused("shapes-differ", f"`{name}` has rows of unequal length", "give as many values in every row")


def _without_masked(given: Any, array: NDArray[Any]) -> NDArray[Any]:
    if not isinstance(given, np.ma.MaskedArray):
        return array
    return np.where(np.ma.getmaskarray(given), array.dtype.type(math.nan), array)


def _number(value: Any, name: str, row: int) -> float:
    if value is None or value is np.ma.masked or type(value).__name__ in ("NAType", "NaTType"):
        return math.nan
    if isinstance(value, numbers.Real) and not isinstance(value, (bool, np.bool_)):
        return float(value)
    _native.refuse_count(str(value), row, name)
    raise AssertionError("refused above")


def _refuse_all(array: NDArray[Any], name: str) -> NDArray[Any]:
    first = str(array.flat[0]) if array.size else str(array.dtype)
    _native.refuse_count(first, 0 if array.ndim else None, name)
    raise AssertionError("refused above")


def _way_back(given: Any) -> Restore:
    module = _module(given)
    if isinstance(given, np.ma.MaskedArray):
        mask = np.ma.getmaskarray(given)
        return lambda out: np.ma.MaskedArray(out, mask=mask)
    if module == "pandas" and hasattr(given, "index"):
        return _pandas_back(given)
    if module == "polars":
        import polars

        return lambda out: polars.Series(given.name, out)
    if module == "pyarrow":
        import pyarrow

        return lambda out: pyarrow.array(out)
    if isinstance(given, np.ndarray):
        return lambda out: out
    if isinstance(given, np.generic):
        return lambda out: out[()]
    return lambda out: out.item() if out.ndim == 0 else out


def _pandas_back(given: Any) -> Restore:
    import pandas

    if given.ndim == 2:
        return lambda out: pandas.DataFrame(out, index=given.index, columns=given.columns, copy=False)
    return lambda out: pandas.Series(out, index=given.index, name=given.name, copy=False)
