"""Whatever event the types allow comes back equal from the bytes on the disk."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

import orjson
from hypothesis import given
from hypothesis import strategies as st

from roomlink.core.events import EVENT_TYPES, Entry, decode, decode_entry, encode, encode_entry
from roomlink.core.spec import Value
from roomlink.journal.rows import START, entry_of, follows, rows_of

NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
TEXTS = st.text(max_size=12)
SCALARS = st.none() | st.booleans() | NUMBERS | TEXTS | st.integers(-(2**63), 2**63 - 1)
JSON = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3))
OBJECTS = st.dictionaries(TEXTS, JSON, max_size=3)

BY_HINT: dict[Any, st.SearchStrategy[Any]] = {
    float: NUMBERS,
    float | None: st.none() | NUMBERS,
    tuple[tuple[str, float], ...]: st.lists(st.tuples(TEXTS, NUMBERS), max_size=3).map(tuple),
    Mapping[str, Any]: OBJECTS,
    Mapping[str, Any] | None: st.none() | OBJECTS,
    Mapping[str, Value]: st.dictionaries(TEXTS, st.none() | st.booleans() | NUMBERS | TEXTS, max_size=3),
}


WHOLE = st.integers(-(2**53), 2**53)


def drawn(hint: Any) -> st.SearchStrategy[Any]:
    """Values of a type as JSON can hold them: bounded whole numbers, finite others, records field by field."""
    if hint in BY_HINT:
        return BY_HINT[hint]
    if is_dataclass(hint):
        return built(hint)
    parts = get_args(hint)
    if get_origin(hint) in (Union, UnionType):
        return st.one_of([drawn(part) for part in parts])
    if get_origin(hint) is tuple and parts[1:] == (Ellipsis,):
        return st.lists(drawn(parts[0]), max_size=3).map(tuple)
    if get_origin(hint) is tuple:
        return st.tuples(*map(drawn, parts))
    return WHOLE if hint is int else st.from_type(hint)


def built(kind: Any) -> st.SearchStrategy[Any]:
    """Instances with every field drawn, also those that have a default."""
    hints = {name: hint for name, hint in get_type_hints(kind).items() if name in {f.name for f in fields(kind)}}
    return st.builds(kind, **{name: drawn(hint) for name, hint in hints.items()})


EVENTS = st.one_of([built(kind) for kind in EVENT_TYPES.values()])
ENTRIES = st.builds(
    Entry,
    seq=st.just(1),
    at=NUMBERS,
    who=TEXTS,
    via=TEXTS,
    did=OBJECTS,
    events=st.lists(EVENTS, max_size=4).map(tuple),
)


@given(EVENTS)
def test_an_event_comes_back_equal(event: Any) -> None:
    """Through JSON and back nothing is lost, whatever the type."""
    assert decode(orjson.loads(orjson.dumps(encode(event)))) == event


@given(ENTRIES)
def test_an_entry_comes_back_equal(entry: Entry) -> None:
    """Who, when, what was asked and what happened."""
    assert decode_entry(orjson.loads(orjson.dumps(encode_entry(entry)))) == entry


@given(ENTRIES)
def test_a_stored_row_is_whole_and_holds_the_entry(entry: Entry) -> None:
    """The row follows the sum before it, and its body is the entry."""
    [row] = rows_of([entry], 0, START)
    assert follows(row, 1, START)
    assert entry_of(row[2]) == entry


@given(ENTRIES, st.data())
def test_one_flipped_bit_breaks_the_chain(entry: Entry, data: st.DataObject) -> None:
    """Wherever it is in the body or the sum."""
    [(seq, at, body, total)] = rows_of([entry], 0, START)
    stored = bytearray(body + total)
    bit = data.draw(st.integers(0, 8 * len(stored) - 1))
    stored[bit // 8] ^= 1 << bit % 8
    broken = (seq, at, bytes(stored[: len(body)]), bytes(stored[len(body) :]))
    assert not follows(broken, 1, START)
