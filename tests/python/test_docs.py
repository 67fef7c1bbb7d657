"""Whatever is public is documented: what it takes, what it gives, an example that the doctests run."""

from __future__ import annotations

import dataclasses
import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import pytest
import siltcode
from siltcode import plots, units

#: The repository, whose sources name every error.
ROOT = Path(__file__).resolve().parents[2]
MODULES: list[ModuleType] = [siltcode, plots, units]
#: The sections of numpydoc, in its order.
SECTIONS = ["Parameters", "Attributes", "Returns", "Raises", "See Also", "Notes", "References", "Examples"]


class Public(NamedTuple):
    """Something public, by its full name."""

    name: str
    thing: Any


def _public() -> Iterator[Public]:
    for module in MODULES:
        for name in getattr(module, "__all__", ["in_unit"]):
            thing = getattr(module, name)
            if callable(thing):
                yield Public(f"{module.__name__}.{name}", thing)
                if inspect.isclass(thing):
                    yield from _members(f"{module.__name__}.{name}", thing)


def _members(owner: str, thing: type) -> Iterator[Public]:
    fields = {field.name for field in dataclasses.fields(thing)} if dataclasses.is_dataclass(thing) else set()
    for name, member in vars(thing).items():
        of_slot = inspect.ismemberdescriptor(member)
        if not name.startswith("_") and name not in fields and not of_slot:
            yield Public(f"{owner}.{name}", member)


def _function(thing: Any) -> Any:
    """What is called, where something is: not a property."""
    thing = thing.__func__ if isinstance(thing, (classmethod, staticmethod)) else thing
    return thing if inspect.isfunction(thing) else None


def _text(thing: Any) -> str:
    if inspect.isclass(thing):
        return inspect.cleandoc(vars(thing).get("__doc__") or "")
    return inspect.getdoc(_function(thing) or thing) or ""


def _sections(text: str) -> dict[str, str]:
    """The text of each section by its heading; the text before all of them by none."""
    parts = re.split(r"^(\w[\w ]+)\n-{3,}$", text, flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def _described(section: str) -> set[str]:
    """The names that a section gives a line of words to."""
    entries = re.findall(r"^(\*{0,2}\w[\w, *]*?)(?: : .+)?\n {4}\S", section, flags=re.MULTILINE)
    return {name.strip(" *") for entry in entries for name in entry.split(",")}


def _takes(thing: Any) -> set[str]:
    return {name for name in inspect.signature(thing).parameters if name not in ("self", "cls")}


ALL = list(_public())
CALLABLES = [public for public in ALL if inspect.isclass(public.thing) or _function(public.thing)]
FUNCTIONS = [public for public in CALLABLES if _function(public.thing)]
CLASSES = [public for public in CALLABLES if inspect.isclass(public.thing)]


def _name(public: Public) -> str:
    return public.name


def test_there_is_something_public() -> None:
    assert len(FUNCTIONS) > 50
    assert len(CLASSES) > 30


@pytest.mark.parametrize("public", ALL, ids=_name)
def test_a_summary_and_sections_in_order(public: Public) -> None:
    sections = _sections(_text(public.thing))
    summary = sections[""].partition("\n\n")[0]
    assert summary.endswith("."), summary
    headings = [heading for heading in sections if heading]
    assert headings == [section for section in SECTIONS if section in headings]
    assert all(text.strip() for text in sections.values())


@pytest.mark.parametrize("public", CALLABLES, ids=_name)
def test_an_example_that_runs(public: Public) -> None:
    assert ">>> " in _sections(_text(public.thing)).get("Examples", "")


@pytest.mark.parametrize("public", FUNCTIONS, ids=_name)
def test_every_parameter_is_described(public: Public) -> None:
    """In its section; a method's sentence may name it instead."""
    text = _text(public.thing)
    described = _described(_sections(text).get("Parameters", ""))
    if public.name.count(".") > 1 and not public.name.startswith(("siltcode.plots.", "siltcode.units.")):
        described |= set(re.findall(r"`(\w+)`", text))
    assert _takes(_function(public.thing)) <= described


@pytest.mark.parametrize("public", [public for public in FUNCTIONS if public.name.count(".") == 1], ids=_name)
def test_what_a_function_returns_is_described(public: Public) -> None:
    assert "Returns" in _sections(_text(public.thing))


@pytest.mark.parametrize("public", CLASSES, ids=_name)
def test_every_field_is_described(public: Public) -> None:
    if not dataclasses.is_dataclass(public.thing):
        return
    fields = {field.name for field in dataclasses.fields(public.thing) if field.repr and field.name[0] != "_"}
    assert fields <= _described(_sections(_text(public.thing)).get("Attributes", ""))


def test_codes_of_errors_are_those_of_the_library() -> None:
    """Every code that a docstring says is raised stands in the sources."""
    sources = [*(ROOT / "crates").rglob("*.rs"), *(ROOT / "python" / "siltcode").glob("*.py")]
    known = "".join(source.read_text(encoding="utf-8") for source in sources)
    told = {code for public in ALL for code in _codes(_sections(_text(public.thing)).get("Raises", ""))}
    assert len(told) > 30
    assert {code for code in told if f'"{code}"' not in known} == set()


def _codes(raises: str) -> list[str]:
    return re.findall(r"``([a-z]+(?:-[a-z]+)+)``", raises)
