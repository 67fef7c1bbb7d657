"""Bottles read from files."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Literal

from siltcode.batch import Batch
from siltcode.samples import Per, Scale
from siltcode.units import in_unit

#: Endings of the files that a folder stands for.
_ENDINGS = (".csv", ".tsv", ".txt", ".xlsx")


def read_counts(
    path: str | os.PathLike[str] | Iterable[str | os.PathLike[str]],
    *,
    delimiter: Literal[",", ";", "tab", "|", "blanks", "colon"] | None = None,
    decimal: Literal[".", ","] | None = None,
    per: Per | None = None,
    scale: Scale | None = None,
    differential: bool | None = None,
    volume_ml: Any = None,
    dilution: float | None = None,
    sheet: str | None = None,
) -> Batch:
    """Reads bottle counts: delimited text or XLSX, whatever the laboratory's layout.

    Parameters
    ----------
    path : path, or several
        Files; a folder stands for the data files in it.
    delimiter, decimal, per, scale, differential, volume_ml, dilution, sheet : optional
        What the files do not say: the mark between cells, the decimal mark, what counts refer to, the scale of the
        sizes, counts per size band, the counted volume of each run [mL], the dilution factor [-], the only sheet to read.
        What is not given is looked for, and what was found or assumed is among the batch's notices.

    Returns
    -------
    Batch
        Good rows as samples, bad rows whole as problems: none is lost, and none stops a file.

    Raises
    ------
    SiltcodeError
        ``input-empty``, ``input-binary``, ``heading-not-found`` and others for a file that cannot be used at all.
    OSError
        If a file cannot be opened.

    Notes
    -----
    No file is changed, and no row is mended: what a file does not say is assumed only where a notice says so.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import siltcode
    >>> day = pathlib.Path(tempfile.mkdtemp(), "day.csv")
    >>> _ = day.write_text("bottle;4 um(c) /mL;6 um(c) /mL;14 um(c) /mL\\nA;1752,5;517;55\\nB;100;200;3\\n")
    >>> batch = siltcode.read_counts(day)
    >>> batch
    Batch(1 bottle, 0 blanks, 1 problem)
    >>> batch.problems[0].line, batch.problems[0].code
    (3, 'count-rises-with-size')
    """
    paths = [path] if isinstance(path, (str, os.PathLike)) else list(path)
    files = [file for given in paths for file in _files(Path(given))]
    options = {
        "delimiter": delimiter,
        "decimal": decimal,
        "per": per,
        "scale": scale,
        "differential": differential,
        "volume_ml": in_unit(volume_ml, "mL"),
        "dilution": dilution,
        "sheet": sheet,
    }
    return Batch([(str(file), file.read_bytes()) for file in files], options)


def _files(path: Path) -> Iterator[Path]:
    if path.is_dir():
        yield from sorted(file for file in path.iterdir() if _is_data(file))
    else:
        yield path


def _is_data(path: Path) -> bool:
    return path.suffix.lower() in _ENDINGS and path.is_file() and not path.name.startswith((".", "~"))
