"""The one exception of this package."""

from __future__ import annotations


class SiltcodeError(ValueError):
    """Why an input could not be used: what was found, where, and what to do about it.

    A plain ``except ValueError`` catches it.

    Attributes
    ----------
    code : str
        Stable, for programs: ``"count-rises-with-size"``.
    hint : str
        What to do about it.
    file, sheet, column : str or None
        Where the input stands, as far as it is known.
    line : int or None
        The line of a file, from 1; the row of an array or a frame, from 0.

    Examples
    --------
    >>> import siltcode
    >>> try:
    ...     siltcode.parse_code("16/18/13")
    ... except siltcode.SiltcodeError as error:
    ...     print(error.code)
    code-rises-with-size
    """

    def __init__(
        self,
        message: str,
        code: str = "",
        hint: str = "",
        file: str | None = None,
        sheet: str | None = None,
        line: int | None = None,
        column: str | None = None,
    ) -> None:
        super().__init__(message, code, hint, file, sheet, line, column)
        self.code = code
        self.hint = hint
        self.file = file
        self.sheet = sheet
        self.line = line
        self.column = column

    def __str__(self) -> str:
        message = str(self.args[0])
        return f"{message}\nhint: {self.hint}" if self.hint else message

    @property
    def message(self) -> str:
        """What was found, without the hint."""
        return str(self.args[0])

    @property
    def place(self) -> str | None:
        """Where the input stands, in words; None if it came from no file, array or frame.

        Examples
        --------
        >>> SiltcodeError("x", line=3, column="n6").place
        'line 3, column n6'
        """
        named = [("", self.file), ("sheet ", self.sheet), ("line ", self.line), ("column ", self.column)]
        return ", ".join(f"{name}{value}" for name, value in named if value is not None) or None
