"""``repeat``: one entry as written becomes several, each with its own name.

``bay: {repeat: [east, west], name: "{Name} bay"}`` becomes ``bay-east`` and ``bay-west``. ``{name}`` in a text
becomes ``east``, ``{Name}`` becomes ``East``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

from roomlink.limits import NAME_CHARS_MAX
from roomlink.venue.controls import capitalised, repeated
from roomlink.venue.findings import Path, Report, listing

_LEFT_OVER = re.compile(r"\{[^{}]*\}")


class Repeatable(Protocol):
    """An entry that may be stamped out."""

    @property
    def repeat(self) -> list[str] | None: ...

    @property
    def name(self) -> str | None: ...


Entry = TypeVar("Entry", bound=Repeatable)


@dataclass(frozen=True, slots=True)
class Stamp(Generic[Entry]):
    """One of the things that an entry stands for. ``nth`` counts repetitions from 0."""

    id: str
    entry: Entry
    path: Path
    word: str | None
    nth: int

    def fill(self, text: str) -> str:
        """A text of the entry, for this repetition."""
        if self.word is None:
            return text
        return text.replace("{name}", self.word).replace("{Name}", capitalised(self.word))

    def filled(self, value: Any) -> Any:
        """A value of the entry, with all the texts in it filled."""
        if isinstance(value, str):
            return self.fill(value)
        if isinstance(value, dict):
            return {key: self.filled(member) for key, member in value.items()}
        return [self.filled(member) for member in value] if isinstance(value, list) else value

    @property
    def name(self) -> str:
        """The words for people."""
        return self.fill(self.entry.name) if self.entry.name else capitalised(self.id)

    def shifted(self, points: list[list[float]] | None, step: list[float] | None) -> list[list[float]] | None:
        """The points of the entry, moved to where this repetition lies."""
        if points is None or step is None:
            return points
        return [[round(x + self.nth * step[0], 6), round(y + self.nth * step[1], 6)] for x, y in points]


def stamp(section: str, entries: Mapping[str, Entry], report: Report) -> dict[str, Stamp[Entry]]:
    """Everything that the entries of a section stand for, by name, in venue order."""
    found: dict[str, Stamp[Entry]] = {}
    for key, entry in entries.items():
        path: Path = (section, key)
        if entry.name is not None:
            braces(entry.name, entry, (*path, "name"), report)
        for made in _stamps(path, key, entry, report):
            if made.id in found or (made.word is not None and made.id in entries):
                other = report.places.of(found[made.id].path if made.id in found else (section, made.id), key=True)
                report.add((*path, "repeat"), f"{section}.{made.id} is defined twice, also at {other}", "rename one")
                continue
            found[made.id] = made
            # Later findings about a repetition point at the entry that it was stamped from.
            report.places.keys.setdefault((section, made.id), report.places.of(path, key=True))
    return found


def _stamps(path: Path, key: str, entry: Entry, report: Report) -> Iterator[Stamp[Entry]]:
    for nth, word in repetitions(path, entry, report):
        if word is None:
            yield Stamp(key, entry, path, None, 0)
        elif len(key) + 1 + len(word) > NAME_CHARS_MAX:
            at = (*path, "repeat", nth)
            report.add(at, f"the name {key}-{word} is too long", f"use at most {NAME_CHARS_MAX} characters")
        else:
            yield Stamp(f"{key}-{word}", entry, path, word, nth)


def repetitions(path: Path, entry: Repeatable, report: Report) -> Iterator[tuple[int, str | None]]:
    """The words of ``repeat``, counted from 0; (0, None) once where there is no ``repeat``."""
    if entry.repeat is None:
        yield 0, None
        return
    at = (*path, "repeat")
    if not entry.repeat:
        report.add(at, "there is nothing to repeat", "list a word for each repetition, such as [east, west]")
    if twice := repeated(entry.repeat):
        report.add(at, f"{listing(twice)} is listed twice", "list each word once")
    yield from enumerate(dict.fromkeys(entry.repeat))


def braces(text: str, entry: Repeatable, path: Path, report: Report) -> None:
    """Note a ``{...}`` that nothing will fill."""
    for brace in _LEFT_OVER.findall(text):
        if entry.repeat is None:
            report.add(path, f"{brace} stands for nothing without repeat", "add repeat: or write the name out")
        elif brace not in ("{name}", "{Name}"):
            report.add(path, f"{brace} stands for nothing", "use {name} or {Name}")


def claimed(raw: Any, known: Mapping[str, Any]) -> dict[str, None]:
    """All names that a section as written gives, also by entries with mistakes: they are not said to be missing too."""
    names = dict.fromkeys(known)
    for key, entry in raw.items() if isinstance(raw, dict) else ():
        words = entry.get("repeat") if isinstance(entry, dict) else None
        if isinstance(words, list):
            names |= dict.fromkeys(f"{key}-{word}" for word in words)
        else:
            names[key] = None
    return names
