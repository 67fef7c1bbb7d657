"""A bottle: its runs, what else was measured on it, and the code that its runs give together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from siltcode import _native
from siltcode._display import Table, counted, html_table
from siltcode.codes import Code
from siltcode.spectrum import Band, Between
from siltcode.units import in_unit

if TYPE_CHECKING:
    from siltcode.score import Score
    from siltcode.specs import SpecLike

V = TypeVar("V")
#: Values at sizes: a mapping of whole numbers is one of numbers too, which type checkers do not know.
BySize = Mapping[int, V] | Mapping[float, V]
Scale = Literal["um(c)", "um(b)", "um(acftd)", "um(microscope)"]
Per = Literal["mL", "10 mL", "100 mL", "L", "raw"]


@dataclass(frozen=True, slots=True)
class Channel:
    """One size with its cumulative count.

    Attributes
    ----------
    size_um : float
        Particles of this size and larger [um, in the scale of the run].
    per_ml : float, str or None
        A concentration [particles/mL], a bound in words (``"<1"``, ``"too many to count"``), or None: not counted.
    raw : int or None
        Particles counted, before any scaling.
    volume_ml : float, str, pint quantity or None
        The volume they were counted in, after dilution [mL].
    dilution : float or None
        Total volume over sample volume [-].

    Examples
    --------
    >>> import siltcode
    >>> siltcode.Sample.of({4: 1752}, per="raw", volume_ml="2 mL").channels[0]
    Channel(size_um=4.0, per_ml=876.0, raw=1752, volume_ml=2.0, dilution=1.0)
    """

    size_um: float
    per_ml: float | str | None
    raw: int | None = None
    volume_ml: Any = None
    dilution: float | None = None

    def _given(self) -> dict[str, Any]:
        evidence = {"raw": self.raw, "volume_ml": in_unit(self.volume_ml, "mL"), "dilution": self.dilution}
        return {"um": self.size_um, "reading": self.per_ml, **evidence}


@dataclass(frozen=True, slots=True)
class Run:
    """One counting of a bottle.

    Attributes
    ----------
    channels : tuple of Channel
        Its sizes, rising.
    scale : {"um(c)", "um(b)", "um(acftd)", "um(microscope)"}
        The scale of the sizes.
    label : str or None
        Its name, if it has one.

    Examples
    --------
    >>> import siltcode
    >>> run = siltcode.Run((siltcode.Channel(4, 1752.0), siltcode.Channel(6, 517.0)), label="first")
    >>> siltcode.Sample((run,), "A")
    Sample('A', 1 run, per mL {4: 1752.0, 6: 517.0})
    """

    channels: tuple[Channel, ...]
    scale: Scale = "um(c)"
    label: str | None = None

    def _given(self) -> tuple[str | None, dict[str, Any]]:
        channels = [channel._given() for channel in self.channels]
        return self.label, {"scale": self.scale, "per": "mL", "channels": channels}


@dataclass(frozen=True, slots=True)
class Sample:
    """A bottle with everything said of it. `Sample.of` makes one from plain numbers.

    Attributes
    ----------
    runs : tuple of Run
        Its runs, in the order counted.
    id : str
        Its name in the laboratory.
    companions : tuple of (str, str)
        What else was measured: the property and the value with its unit, ``("water", "150 mg/kg")``.
    notes : tuple of (str, str)
        Anything else: heading and text.
    fields : tuple of (str, str)
        Where, when and by whom it was drawn and counted: ``("tank", "North")``.
    printed : str or None
        The code printed for it by the counter or the laboratory.

    Examples
    --------
    >>> import siltcode
    >>> bottle = siltcode.Sample.of([{4: 1700, 6: 500}, {4: 1800, 6: 540}], "A", companions={"water": "150 mg/kg"})
    >>> bottle
    Sample('A', 2 runs, per mL {4: 1750.0, 6: 520.0})
    >>> bottle.companions
    (('water', '150 mg/kg'),)
    """

    runs: tuple[Run, ...]
    id: str = ""
    companions: tuple[tuple[str, str], ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    fields: tuple[tuple[str, str], ...] = ()
    printed: str | None = None

    @classmethod
    def of(
        cls,
        counts: BySize[Any] | Sequence[BySize[Any]],
        id: str = "",
        *,
        per: Per = "mL",
        volume_ml: Any = None,
        dilution: float = 1.0,
        scale: Scale = "um(c)",
        differential: bool = False,
        companions: Mapping[str, str] | None = None,
        notes: Mapping[str, str] | None = None,
    ) -> Sample:
        """A bottle from its counts.

        Parameters
        ----------
        counts : mapping of size to count, or a sequence of them, one a run
            Size [um] to count, in units of `per`; a bound may be text (``"<1"``, ``"TNTC"``), None is not counted.
        id : str
            Its name.
        per : {"mL", "10 mL", "100 mL", "L", "raw"}
            What the counts refer to: concentrations of the sample as drawn, or the particles counted.
        volume_ml : float, str or pint quantity
            The counted volume of each run, after dilution [mL]; needed with ``per="raw"``.
        dilution : float
            Total volume over sample volume, 1 or more [-]; used with ``per="raw"``.
        scale : {"um(c)", "um(b)", "um(acftd)", "um(microscope)"}
            The scale of the sizes.
        differential : bool
            The counts are those between a size and the next.
        companions, notes : mapping of str to str
            What else was measured (``{"water": "150 mg/kg"}``), and said.

        Returns
        -------
        Sample

        Raises
        ------
        SiltcodeError
            ``raw-without-volume``, ``raw-not-whole``, ``count-rises-with-size``, ``count-not-finite``,
            ``count-unreadable``, ``dilution-below-one``, ``volume-not-positive``.

        Examples
        --------
        >>> import siltcode
        >>> runs = [{4: 1700, 6: 500, 14: 12}, {4: 1800, 6: 540, 14: 5}]
        >>> bottle = siltcode.Sample.of(runs, "day tank", per="raw", volume_ml="1 mL")
        >>> str(bottle.code)
        '18/16/>=10'
        """
        volume = in_unit(volume_ml, "mL")
        of_run = [counts] if isinstance(counts, Mapping) else list(counts)
        evidence = {"volume_ml": volume, "dilution": dilution} if per == "raw" else {}
        given = [spectrum_given(run, per=per, scale=scale, differential=differential, **evidence) for run in of_run]
        made = {
            "id": id,
            "runs": [(None, run) for run in given],
            "companions": list((companions or {}).items()),
            "notes": list((notes or {}).items()),
            "fields": [],
            "printed": None,
        }
        return sample_of(_native.batch_of([made]).sample(0))

    def _given(self) -> dict[str, Any]:
        runs = [run._given() for run in self.runs]
        said = {"companions": list(self.companions), "notes": list(self.notes), "fields": list(self.fields)}
        return {"id": self.id, "runs": runs, **said, "printed": self.printed}

    @property
    def channels(self) -> tuple[Channel, ...]:
        """All runs together: summed counts over summed volumes where the volumes are known, else the mean."""
        return _channels(_native.combined(self._given()))

    @property
    def code(self) -> Code:
        """The ISO 4406 code."""
        return Code._of(_native.code_of_sample(self._given()))

    def converted(self, scale: Scale) -> Sample:
        """The same bottle with all runs as one and its sizes in another scale; the conversion is in the notes.

        Parameters
        ----------
        scale : {"um(c)", "um(b)", "um(acftd)"}
            The wanted scale; for the microscope no conversion is published.

        Returns
        -------
        Sample

        Raises
        ------
        SiltcodeError
            ``conversion-unknown``, ``conversion-outside`` unless every size lies within the published pairs.

        Examples
        --------
        >>> import siltcode
        >>> old = siltcode.Sample.of({5: 400, 15: 50}, scale="um(acftd)")
        >>> [channel.size_um for channel in old.converted("um(c)").channels]
        [6.4, 13.6]
        """
        channels, conversion = _native.converted(self._given(), scale)
        note = () if conversion is None else (("converted", f"{conversion['from']} to {scale}: {conversion['by']}"),)
        return Sample((Run(_channels(channels), scale),), self.id, self.companions, self.notes + note, self.fields)

    def between(self, um: float) -> Between | None:
        """The count at a size between two counted ones; None at or outside the ends of what was counted.

        Parameters
        ----------
        um : float
            The size [um, in the sample's scale].

        Returns
        -------
        Between or None

        Examples
        --------
        >>> import siltcode
        >>> found = siltcode.Sample.of({6: 500, 14: 40}).between(10)
        >>> round(found.least_per_ml), round(found.most_per_ml)
        (109, 122)
        """
        found = _native.between(self._given(), float(um))
        if found is None:
            return None
        least, most = found["spread"]
        return Between(least, most, found["power"], found["log_log2"], found["at_least"], found["at_most"])

    @property
    def bands(self) -> tuple[Band, ...]:
        """The particles between each size and the next, the last band open; only plain counts take part.

        Examples
        --------
        >>> import siltcode
        >>> [band.per_ml for band in siltcode.Sample.of({4: 1752, 6: 517, 14: 55}).bands]
        [1235.0, 462.0, 55.0]
        """
        return tuple(Band(*each) for each in _native.bands(self._given()))

    def less_blank(self, blank: Sample) -> tuple[Sample, tuple[str, ...]]:
        """The bottle with all runs as one, less a blank, size band by size band.

        Parameters
        ----------
        blank : Sample
            Of the same sizes and scale.

        Returns
        -------
        (Sample, tuple of str)
            And the sizes whose band the blank held more of than the bottle: nothing is left in those.

        Raises
        ------
        SiltcodeError
            ``scales-mixed``, ``nothing-counted``.

        Examples
        --------
        >>> import siltcode
        >>> net, drowned = siltcode.Sample.of({4: 100, 6: 10}).less_blank(siltcode.Sample.of({4: 30, 6: 20}))
        >>> net, drowned
        (Sample('', 1 run, per mL {4: 80.0, 6: 0.0}), ('6 um(c)',))
        """
        counts, drowned = _native.spectrum_less_blank(self._given(), blank._given())
        run = Run(_channels(counts), self.runs[0].scale)
        return Sample((run,), self.id, self.companions, self.notes, self.fields), tuple(drowned)

    def score(self, spec: SpecLike | None = None, **how: Any) -> Score:
        """The bottle scored.

        Parameters
        ----------
        spec : str, path, Code or Spec, optional
            The target, as for `spec`.
        **how
            The options of `Batch.score`.

        Returns
        -------
        Score

        Raises
        ------
        SiltcodeError
            Why it cannot be scored: ``count-rises-with-size``, ``scales-mixed`` and others; those of `Batch.score`.

        Examples
        --------
        >>> import siltcode
        >>> score = siltcode.Sample.of({4: 1752, 6: 517, 14: 55}).score("18/16/13")
        >>> score.verdict.outcome, score.verdict.rule
        ('conforms', 'simple acceptance')
        """
        from siltcode.batch import Batch

        scores = Batch.of([self]).score(spec, **how)
        scores.raise_first()
        return scores[0]

    def __repr__(self) -> str:
        shown = ", ".join(f"{channel.size_um:g}: {channel.per_ml}" for channel in self.channels)
        return f"Sample({self.id!r}, {counted(len(self.runs), 'run')}, per mL {{{shown}}})"

    def _repr_html_(self) -> str:
        scale = self.runs[0].scale if self.runs else ""
        rows = [[channel.size_um, channel.per_ml, channel.raw, channel.volume_ml] for channel in self.channels]
        headings = [f"size, {scale}", "particles/mL", "counted", "volume, mL"]
        below = "; ".join(f"{name} {value}" for name, value in self.companions)
        return html_table(Table(headings, rows, self.id, below))


def spectrum_given(
    counts: BySize[Any],
    *,
    per: Per = "mL",
    scale: Scale = "um(c)",
    differential: bool = False,
    **evidence: Any,
) -> dict[str, Any]:
    """A mapping of size to count in the form that the native module takes."""
    field = "raw" if per == "raw" else "reading"
    channels = [{"um": float(um), field: _reading(reading), **evidence} for um, reading in counts.items()]
    return {"scale": scale, "per": "mL" if per == "raw" else per, "differential": differential, "channels": channels}


def _reading(reading: Any) -> float | str | None:
    return reading if reading is None or isinstance(reading, str) else float(reading)


def _channels(parts: Iterable[dict[str, Any]]) -> tuple[Channel, ...]:
    return tuple(_channel(part) for part in parts)


def _channel(part: dict[str, Any]) -> Channel:
    evidence = part["evidence"] or {}
    known = (evidence.get("raw"), evidence.get("volume"), evidence.get("dilution"))
    return Channel(float(part["size"].partition(" ")[0]), part["reading"], *known)


def sample_of(parts: dict[str, Any]) -> Sample:
    """A sample as the native module gives it."""
    runs = tuple(_run(run) for run in parts["runs"])
    notes, fields = (tuple(map(tuple, parts[name])) for name in ("notes", "fields"))
    return Sample(runs, parts["id"], companions_of(parts["companions"]), notes, fields, parts["printed"])


def companions_of(parts: Iterable[dict[str, Any]]) -> tuple[tuple[str, str], ...]:
    """What else was measured, as the native module gives it."""
    return tuple((companion["property"], _measured(companion["measured"])) for companion in parts)


def _run(run: dict[str, Any]) -> Run:
    scale: Any = run["spectrum"][0]["size"].partition(" ")[2] if run["spectrum"] else "um(c)"
    return Run(_channels(run["spectrum"]), scale, run["label"])


def _measured(measured: Any) -> str:
    if isinstance(measured, str):
        return measured
    bound = "<" if "below" in measured else ""
    return f"{bound}{measured.get('value', measured.get('below')):.17g} {measured['unit']}".strip()
