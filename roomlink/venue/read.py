"""Read a folder of YAML files as one tree of plain values, and remember where everything was written.

The files are composed to nodes, not loaded to objects: nodes know the place of each key and value, show a key that
was written twice, and never run a constructor that a tag names.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from roomlink.limits import VENUE_FILE_BYTES_MAX
from roomlink.venue.fields import shown
from roomlink.venue.findings import Path, Place, Places, Report, dotted

# Anchors can make a few lines mean a great many values.
VALUES_MAX = 2_000_000
DEPTH_MAX = 32
# Whole numbers beyond this lose digits in JSON.
WHOLE_MAX = 2**53

_TAG = "tag:yaml.org,2002:"
_TEXT_TAGS = {"str", "timestamp", "merge", "value"}
_TRUE, _FALSE = {"true", "yes", "on", "y"}, {"false", "no", "off", "n"}


@dataclass
class Reading:
    """All files of a folder as one tree; ``report`` holds what could not be read."""

    report: Report
    tree: dict[str, Any] = field(default_factory=dict)
    values: int = 0
    unread: bool = False
    """Whether a file could not be read at all: names that are missing may be in it."""


def read_folder(folder: FilePath) -> Reading:
    """Every ``*.yaml`` in ``folder``, in the order of their names; sub-folders are left alone."""
    reading = Reading(Report(Places(Place(str(folder)))))
    if not folder.is_dir():
        reading.report.add((), "there is no such folder", "give the folder that holds the venue's YAML files")
        return reading
    files = sorted(path for path in folder.glob("*.yaml") if path.is_file())
    if not files:
        reading.report.add((), "the folder has no *.yaml file", "write a venue.yaml; config/first is an example")
    for path in files:
        reading.report.places.top = Place(str(path), 1, 1)
        text = _text_of(path, reading.report)
        if text is None or not _read_file(str(path), text, reading):
            reading.unread = True
    if files:
        reading.report.places.top = Place(str(files[0]), 1, 1)
    return reading


def _text_of(path: FilePath, report: Report) -> str | None:
    try:
        size = path.stat().st_size
        if size > VENUE_FILE_BYTES_MAX:
            report.add((), f"the file has {size} bytes", f"keep each file to {VENUE_FILE_BYTES_MAX} bytes")
            return None
        raw = path.read_bytes()
    except OSError as error:
        report.add((), f"the file cannot be read ({error.strerror})", "make it readable for this user")
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        report.places.top = Place(str(path), before.count(b"\n") + 1, error.start - before.rfind(b"\n"))
        report.add((), "the file is not UTF-8", "save it as UTF-8")
        return None


def _read_file(file: str, text: str, reading: Reading) -> bool:
    """Whether the file is YAML; its sections are then in the tree."""
    report = reading.report
    yaml = YAML(typ="safe", pure=True)
    # A name anchored twice is allowed by YAML, and no cause for a Python warning.
    yaml.composer.warn_double_anchors = False
    try:
        node = yaml.compose(text)
    except YAMLError as error:
        report.places.top = _place_of(error, file, text)
        report.add((), f"this is not YAML: {_why(error)}", "look for a bracket, quote or indent before it")
        return False
    except RecursionError:
        report.add((), "the file is nested too deeply", f"use at most {DEPTH_MAX} levels")
        return False
    except Exception as error:
        # A parser of arbitrary text; whatever else it stumbles over is a fault of that text too.
        report.add((), f"this is not YAML ({type(error).__name__}: {error})", "correct the text")
        return False
    if node is None:
        return True
    if not isinstance(node, MappingNode):
        report.add((), "the file is not a mapping", "begin with a section, such as venue: or zones:")
        return False
    _Builder(file, reading).sections(node)
    return True


def _place_of(error: YAMLError, file: str, text: str) -> Place:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    if mark is not None:
        return Place(file, mark.line + 1, mark.column + 1)
    position = getattr(error, "position", None)
    if isinstance(position, int):
        before = text[:position]
        return Place(file, before.count("\n") + 1, position - before.rfind("\n"))
    return Place(file, 1, 1)


def _why(error: YAMLError) -> str:
    for member in ("problem", "reason", "context"):
        words = getattr(error, member, None)
        if words:
            return " ".join(str(words).split())
    return " ".join(str(error).split())[:200]


class _Builder:
    """Turns the nodes of one file into plain values within the tree of the folder."""

    def __init__(self, file: str, reading: Reading) -> None:
        self.file = file
        self.reading = reading
        self.report = reading.report
        self.places = reading.report.places
        self.full = False

    def sections(self, top: MappingNode) -> None:
        """Merge each section of the file into the tree, key by key."""
        tree = self.reading.tree
        for section, node in self._members(top, ()):
            value = self._value(node, (section,), shift=self._length(section))
            if value is None:
                continue
            present = tree.get(section)
            if present is None:
                tree[section] = value
            elif isinstance(present, dict) and isinstance(value, dict):
                present.update(value)
            elif isinstance(present, list) and isinstance(value, list):
                present.extend(value)
            else:
                self._twice((section,), self.place(node))

    def _length(self, section: str) -> int:
        present = self.reading.tree.get(section)
        return len(present) if isinstance(present, list) else 0

    def place(self, node: Node) -> Place:
        mark = node.start_mark
        return Place(self.file, mark.line + 1, mark.column + 1)

    def _members(self, node: MappingNode, path: Path) -> list[tuple[str, Node]]:
        """The members of a mapping, with their places noted and keys written twice left out."""
        found: list[tuple[str, Node]] = []
        here: set[str] = set()
        for key_node, value_node in node.value:
            place = self.place(key_node)
            key = self._value(key_node, (*path, "?")) if isinstance(key_node, ScalarNode) else None
            if isinstance(key, int | float) and not isinstance(key, bool):
                key = str(key_node.value)
            if not isinstance(key, str):
                self.report.at(place, path, "a key has to be a word", "write a name, a colon and a value")
                continue
            at = (*path, key)
            known = self.places.keys.get(at)
            # Sections may go on in another file; what is in them may not.
            if key in here or (known is not None and len(path) == 1):
                self._twice(at, place)
                continue
            here.add(key)
            found.append((key, value_node))
            if known is None:
                self.places.keys[at] = place
                self.places.values[at] = self.place(value_node)
        return found

    def _twice(self, path: Path, place: Place) -> None:
        first = self.places.of(path, key=True)
        self.report.at(place, path, f"{dotted(path)} is defined twice, first at {first}", "keep one of the two")

    def _value(self, node: Node, path: Path, shift: int = 0, inside: frozenset[int] = frozenset()) -> Any:
        self.reading.values += 1
        if self.reading.values > VALUES_MAX or len(path) > DEPTH_MAX or id(node) in inside:
            if not self.full:
                self.report.at(self.place(node), path, "there is too much in here, or it holds itself", "write it out")
            self.full = True
            self.report.spoil(path)
            return None
        inside = inside | {id(node)}
        if isinstance(node, ScalarNode):
            return self._scalar(node, path)
        if str(node.tag) not in (_TAG + "map", _TAG + "seq"):
            self.report.at(self.place(node), path, f"the tag {node.tag} is not used here", "leave it out")
            self.report.spoil(path)
            return None
        if isinstance(node, SequenceNode):
            items = []
            for index, item in enumerate(node.value, start=shift):
                self.places.values[(*path, index)] = self.place(item)
                items.append(self._value(item, (*path, index), inside=inside))
            return items
        if isinstance(node, MappingNode):
            return {key: self._value(item, (*path, key), inside=inside) for key, item in self._members(node, path)}
        return None

    def _scalar(self, node: ScalarNode, path: Path) -> Any:
        tag = str(node.tag).removeprefix(_TAG)
        text = str(node.value)
        try:
            value = _plain(tag, text)
        except ValueError as error:
            self.report.at(self.place(node), path, f"{shown(text)} {error}", "write a word, a number or a text")
            self.report.spoil(path)
            return None
        return value


def _plain(tag: str, text: str) -> Any:
    """The value of a scalar; ValueError says what is wrong with it."""
    if tag in _TEXT_TAGS:
        if any("\ud800" <= char <= "\udfff" for char in text):
            raise ValueError("holds half a character")
        return text
    if tag == "null":
        return None
    if tag == "bool" and text.lower() in _TRUE | _FALSE:
        return text.lower() in _TRUE
    if tag in ("int", "float"):
        return _number(tag, text.replace("_", "").lower())
    raise ValueError(f"has a tag ({tag}) that is not used here")


def _number(tag: str, text: str) -> int | float:
    try:
        value: int | float = int(text, 0 if text.lstrip("+-")[:2] in ("0x", "0o", "0b") else 10)
    except ValueError:
        try:
            value = float(text)
        except ValueError:
            raise ValueError("is not a number that can be read") from None
    if not math.isfinite(value) or (isinstance(value, int) and abs(value) > WHOLE_MAX):
        raise ValueError("is too large a number")
    return value
