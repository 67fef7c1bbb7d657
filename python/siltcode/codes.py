"""ISO 4406: range numbers, their bounds, and codes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siltcode import _arrays, _native
from siltcode._display import Table, html_table
from siltcode.errors import SiltcodeError
from siltcode.units import in_unit

#: What `range_numbers` gives for a concentration above the scale, printed ``>28``.
ABOVE_SCALE = 29
#: What `range_numbers` gives for what is no concentration: NaN, masked, missing, or negative.
NOT_COUNTED = 255


def range_numbers(per_ml: Any, out: NDArray[np.uint8] | None = None) -> Any:
    """ISO 4406 range numbers of concentrations.

    Parameters
    ----------
    per_ml : number or array_like, any shape
        Particles at and above one size [particles/mL]. NaN, masked and missing values are 'not counted'.
    out : ndarray of uint8, the shape of `per_ml`, optional
        Where to write the numbers, to use the same room again [-].

    Returns
    -------
    int or uint8 of the same kind and shape [-]
        0 to 28; 29 above the scale; 255 not counted, and for negative values. A list comes back as an array; with `out`
        that is what comes back.

    Raises
    ------
    SiltcodeError
        ``count-unreadable`` if something is no number; its row and name are in the error. ``out-unfit`` unless `out` is
        an array of uint8 of the same shape that may be written to.

    Notes
    -----
    The bounds are the printed table's, exclusive below and inclusive above; no formula reproduces them, since the table
    is rounded. Defined for every value of 0 or more.

    References
    ----------
    .. [1] ISO 4406, Hydraulic fluid power, method for coding the level of contamination by solid particles;
       as restated in ``reference-tables/iso4406.csv``.

    Examples
    --------
    >>> import numpy as np, siltcode
    >>> siltcode.range_numbers(1752.0)
    18
    >>> siltcode.range_numbers(np.array([2500.0, 2500.1, 1e9, np.nan]))
    array([ 18,  19,  29, 255], dtype=uint8)
    >>> room = np.empty(2, np.uint8)
    >>> siltcode.range_numbers([100.0, 0.01], out=room) is room
    True
    """
    values, back = _arrays.floats(per_ml, "per_ml")
    if out is not None:
        return _written(values, out)
    numbers = np.empty(values.shape, np.uint8)
    _native.range_numbers(_arrays.flat(values, values.dtype), numbers.reshape(-1))
    return back(numbers)


def _written(values: NDArray[Any], out: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The numbers in an array of the user's, directly where it lies in one piece and apart from the values."""
    fits = isinstance(out, np.ndarray) and out.dtype == np.uint8 and out.shape == values.shape
    if not (fits and out.flags.writeable):
        found = f"{out.dtype} {out.shape}" if isinstance(out, np.ndarray) else type(out).__name__
        hint = f"give an array of uint8 of the shape {values.shape} that may be written to"
        _arrays.refused("out-unfit", f"`out` is {found}, which the numbers do not fit into", hint)
    if out.flags.c_contiguous and not np.may_share_memory(values, out):
        _native.range_numbers(_arrays.flat(values, values.dtype), out.reshape(-1))
    else:
        out[...] = range_numbers(values)
    return out


def range_bounds(number: Any) -> Any:
    """The concentrations that a range number stands for.

    Parameters
    ----------
    number : int or array_like of int, any shape
        Range numbers as `range_numbers` gives them: 0 to 29, 255 not counted [-].

    Returns
    -------
    lower, upper : float of the same kind and shape [particles/mL]
        More than `lower`, up to and including `upper`. Number 0 starts at no particles at all and is given 0; above the
        scale `upper` is infinite; not counted gives NaN.

    Raises
    ------
    SiltcodeError
        ``number-out-of-range`` unless each number is 0 to 29 or 255.

    References
    ----------
    .. [1] ISO 4406; see `range_numbers`.

    Examples
    --------
    >>> import siltcode
    >>> siltcode.range_bounds(18)
    (1300.0, 2500.0)
    """
    values, back = _arrays.floats(number, "number")
    numbers = np.where(np.isnan(values), NOT_COUNTED, values)
    if (unfit := (numbers != np.floor(numbers)) | (numbers < 0) | (numbers > NOT_COUNTED)).any():
        _refuse_number(numbers, unfit)
    lower, upper = _native.range_bounds(_arrays.flat(numbers, np.uint8))
    return back(lower.reshape(values.shape)), back(upper.reshape(values.shape))


def _refuse_number(numbers: Any, unfit: Any) -> None:
    row = int(np.flatnonzero(unfit)[0])
    found = f"{np.ravel(numbers)[row]:g}"
    message = f"`{found}` is not an ISO 4406 range number"
    hint = "range numbers go from 0 to 28, 29 is above the scale, 255 not counted"
    _arrays.refused("number-out-of-range", message, hint, line=row if np.ndim(numbers) else None)


@dataclass(frozen=True, slots=True, order=False)
class Code:
    """An ISO 4406 code; its ``str()`` is the code as printed.

    Codes are only partly ordered: one is less than another (cleaner) if it is dirtier at no size and cleaner at one.

    Attributes
    ----------
    numbers : tuple of (int or None)
        The range numbers at 4, 6 and 14 um(c), or for a microscope none, 5 and 15 um [-]; 29 above the scale; None where
        not counted or too many to count.
    few : tuple of bool
        Fewer than 20 particles were counted at the size, printed ``>=``.

    Examples
    --------
    >>> import siltcode
    >>> code = siltcode.parse_code("18/16/>=13")
    >>> code.numbers, code.few
    ((18, 16, 13), (False, False, True))
    >>> siltcode.parse_code("18/16/13") < siltcode.parse_code("19/16/13")
    True
    """

    text: str = field(repr=False)
    numbers: tuple[int | None, int | None, int | None]
    few: tuple[bool, bool, bool] = field(compare=False)

    @staticmethod
    def _of(parts: dict[str, Any]) -> Code:
        return Code(parts["text"], tuple(parts["numbers"]), tuple(parts["few"]))

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return f"Code('{self.text}')"

    def _repr_html_(self) -> str:
        sizes = [">=4 um(c)", ">=6 um(c)", ">=14 um(c)"]
        places = self.text.split("/")
        bounds = [_bounds_in_words(number) for number in self.numbers]
        return html_table(Table(["ISO 4406", *sizes], [[self.text, *places], ["particles/mL", *bounds]]))

    def __lt__(self, other: Code) -> bool:
        return _native.compare_codes(self.text, other.text) == -1

    def __le__(self, other: Code) -> bool:
        return _native.compare_codes(self.text, other.text) in (-1, 0)

    def __gt__(self, other: Code) -> bool:
        return other < self

    def __ge__(self, other: Code) -> bool:
        return other <= self


def _bounds_in_words(number: int | None) -> str:
    if number is None:
        return ""
    lower, upper = range_bounds(number)
    return f"{lower:g} to {upper:g}" if math.isfinite(upper) else f"above {lower:g}"


def parse_code(text: str) -> Code:
    """Reads a code as printed.

    Parameters
    ----------
    text : str
        ``18/16/13``, ``-/18/13`` or ``18/13`` (microscope), ``14/12/>=7``, ``*/19/14``, ``>28/24/20``.

    Returns
    -------
    Code

    Raises
    ------
    SiltcodeError
        ``code-unreadable``, ``number-out-of-range``, or ``code-rises-with-size`` unless each number is at most the one
        before it.

    References
    ----------
    .. [1] ISO 4406; see `range_numbers`.

    Examples
    --------
    >>> import siltcode
    >>> str(siltcode.parse_code(" 18 / 13 "))
    '-/18/13'
    """
    return Code._of(_native.parse_code(text))


def iso4406(n4: Any = None, n6: Any = None, n14: Any = None, raw: Any = None, volume_ml: Any = None) -> Any:
    """The ISO 4406 code of counts at 4, 6 and 14 um(c).

    Parameters
    ----------
    n4, n6, n14 : number or array_like, optional
        Cumulative concentrations [particles/mL]; they broadcast against each other. None and NaN are 'not counted'.
    raw : sequence of three, optional
        The particles counted at the three sizes, over all runs [particles]; numbers or arrays. Fewer than 20 give the
        mark ``>=``. Without concentrations, these are ``raw / volume_ml``.
    volume_ml : number, array_like or str, optional
        The volume that `raw` was counted in [mL], undiluted; or text with a unit. Needed with `raw`.

    Returns
    -------
    Code, or str of the same kind and shape
        For plain numbers a `Code`; for arrays the printed codes, missing where no size was counted.

    Raises
    ------
    SiltcodeError
        ``count-rises-with-size``, ``count-not-finite`` unless ``0 <= n < inf``, ``raw-without-volume``,
        ``nothing-counted`` (plain numbers only); for arrays with the row.

    Notes
    -----
    Valid for counts by an automatic counter calibrated to ISO 11171. Diluted samples: see `Sample`.

    References
    ----------
    .. [1] ISO 4406; see `range_numbers`.

    Examples
    --------
    >>> import siltcode
    >>> str(siltcode.iso4406(1752, 517, 55))
    '18/16/13'
    >>> str(siltcode.iso4406(raw=(1752, 517, 12), volume_ml="1 mL"))
    '18/16/>=11'
    >>> siltcode.iso4406([1752, 100], [517, 30], [55, 2])
    array(['18/16/13', '14/12/8'], dtype=object)
    """
    volume = None if volume_ml is None else in_unit(volume_ml, "mL")
    raws = (None, None, None) if raw is None else _three(raw)
    given = [n4, n6, n14, *raws, volume]
    if all(np.ndim(value) == 0 for value in given if value is not None):
        return _single([n4, n6, n14], raws, volume)
    return _column([n4, n6, n14], raws, volume)


def _three(raw: Any) -> tuple[Any, Any, Any]:
    parts = tuple(raw)
    if len(parts) != 3:
        message = f"`raw` has {len(parts)} parts"
        _arrays.refused("lengths-differ", message, "give the particles counted at 4, 6 and 14 um(c)")
    return parts


def _single(counts: list[Any], raws: tuple[Any, ...], volume: Any) -> Code:
    channels = [
        {"um": um, "reading": _plain(count, name), "raw": _plain(raw, "raw"), "volume_ml": _plain(volume, "volume_ml")}
        for um, name, count, raw in zip((4, 6, 14), ("n4", "n6", "n14"), counts, raws, strict=True)
    ]
    return Code._of(_native.code_of({"scale": "um(c)", "per": "mL", "channels": channels}))


def _plain(value: Any, name: str) -> float | None:
    if value is None:
        return None
    number = float(_arrays.floats(value, name)[0])
    return None if math.isnan(number) else number


def _column(counts: list[Any], raws: tuple[Any, ...], volume: Any) -> Any:
    if any(raw is not None for raw in raws):
        if volume is None:
            _arrays.refused("raw-without-volume", "raw counts are given without the counted volume", "give `volume_ml`")
        counts = [_scaled(raw, volume) if count is None else count for count, raw in zip(counts, raws, strict=True)]
    names = ("n4", "n6", "n14", "raw4", "raw6", "raw14")
    arrays, back = _arrays.together(**dict(zip(names, [*counts, *raws], strict=True)))
    _refuse_first_unfit(arrays[:3])
    numbers = [range_numbers(_arrays.flat(array)) for array in arrays[:3]]
    few = [_arrays.flat(array < 20, np.bool_) for array in arrays[3:]]
    codes = _native.code_column(numbers, few)
    out = np.empty(len(codes), object)
    out[:] = codes
    return back(out.reshape(arrays[0].shape))


def _refuse_first_unfit(counts: list[Any]) -> None:
    """Raises what a single sample would for the first row that is none."""
    with np.errstate(invalid="ignore"):
        unfit = ~(counts[1] <= counts[0]) & ~np.isnan(counts[0]) & ~np.isnan(counts[1])
        above = np.fmin(counts[0], counts[1])
        unfit |= ~(counts[2] <= above) & ~np.isnan(above) & ~np.isnan(counts[2])
        for count in counts:
            unfit |= (count < 0) | np.isinf(count)
    if not unfit.any():
        return
    row = int(np.flatnonzero(unfit)[0])
    try:
        _single([count.flat[row] for count in counts], (None, None, None), None)
    except SiltcodeError as error:
        error.line = row
        raise


def _scaled(raw: Any, volume: Any) -> Any:
    if raw is None:
        return None
    (raws, volumes), _ = _arrays.together(raw=raw, volume_ml=volume)
    return raws / volumes
