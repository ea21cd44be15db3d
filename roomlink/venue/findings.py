"""Findings: what is wrong with a configuration, where, and what would be right."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Literal

Path = tuple[str | int, ...]
"""The way from the top of the configuration to a value: keys, and indices into lists."""

Severity = Literal["error", "warning", "note"]
"""An error is refused at load; with a warning a venue runs, but not as people would expect; a note is good to know."""

# So many names are listed, and so many compared, when a name does not exist.
_LISTED = 12
_COMPARED = 2000
_SUGGESTED = 200


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A position in a file; line and column count from 1, and are 0 where a whole file or folder is meant."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong. ``str()`` is one line that editors and terminals can follow to the place."""

    file: str
    line: int
    column: int
    key: str
    severity: Severity
    text: str
    right: str = ""

    @property
    def place(self) -> Place:
        return Place(self.file, self.line, self.column)

    def __str__(self) -> str:
        parts = [str(self.place), self.key, self.text]
        line = ": ".join(part for part in parts if part)
        return f"{line}; {self.right}" if self.right else line


def dotted(path: Path) -> str:
    """A path as people write it: ``occupancy[0].zones``."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def listing(names: Iterable[str]) -> str:
    """The first names in a sentence, with a mark that there are more."""
    all_names = list(names)
    return ", ".join(all_names[:_LISTED]) + (", ..." if len(all_names) > _LISTED else "")


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that looks most like ``name``; None where none does."""
    names = list(known)[:_COMPARED]
    begun = [other for other in names if name and other.startswith(name)]
    close = difflib.get_close_matches(name, names, n=1)
    return next(iter([*begun, *close]), None)


def instead(name: str, known: Collection[str], what: str) -> str:
    """What would be right where ``name`` is not among ``known``."""
    if not known:
        return f"this venue has no {what}"
    close = nearest(name, known)
    return (f"did you mean {close!r}? " if close else "") + f"there is {listing(known)}"


@dataclass
class Places:
    """Where each key and each value was written."""

    top: Place
    keys: dict[Path, Place] = field(default_factory=dict)
    values: dict[Path, Place] = field(default_factory=dict)

    def of(self, path: Path, *, key: bool = False) -> Place:
        """The place of a value, or of its key; of the nearest thing around it where it was not written at all."""
        if not key and path in self.values:
            return self.values[path]
        for length in range(len(path), 0, -1):
            if place := self.keys.get(path[:length]) or self.values.get(path[:length]):
                return place
        return self.top


class Report:
    """Collects findings, so that all are told at once."""

    def __init__(self, places: Places) -> None:
        self.places = places
        self.findings: dict[Finding, None] = {}
        self._spoilt: set[Path] = set()

    def add(self, path: Path, text: str, right: str = "", *, key: bool = False, severity: Severity = "error") -> None:
        """Note a finding about the value at ``path``, or about its key."""
        if self._spoilt and any(path[:length] in self._spoilt for length in range(1, len(path) + 1)):
            return
        self.at(self.places.of(path, key=key), path, text, right, severity=severity)

    def at(self, place: Place, path: Path, text: str, right: str = "", *, severity: Severity = "error") -> None:
        """Note a finding at a place that is known already."""
        finding = Finding(place.file, place.line, place.column, dotted(path), severity, text, right)
        self.findings[finding] = None

    def spoil(self, path: Path) -> None:
        """Expect no further findings at ``path``: what was written there could not even be read."""
        self._spoilt.add(path)

    def dangling(self, path: Path, what: str, name: str, known: Collection[str]) -> None:
        """Note that ``name`` names nothing."""
        # Comparing names costs time; whoever has so many findings has enough to begin with.
        right = instead(name, known, f"{what}s") if len(self.findings) < _SUGGESTED else ""
        self.add(path, f"there is no {what} named {name!r}", right, key=path[-1:] == (name,))

    def sorted(self, severity: Severity) -> list[Finding]:
        return in_order(f for f in self.findings if f.severity == severity)


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """By place."""
    return sorted(findings, key=lambda f: (f.place, f.key, f.text))
