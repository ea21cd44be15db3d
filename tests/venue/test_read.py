"""Reading a folder of YAML with positions."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roomlink.errors import VenueFault
from roomlink.venue import Finding, Loaded, load, read
from roomlink.venue.read import read_folder


def one(findings: list[Finding]) -> Finding:
    assert len(findings) == 1, "\n".join(map(str, findings))
    return findings[0]


def test_every_key_and_value_has_its_place(tmp_path: Path) -> None:
    """Line and column count from 1."""
    (tmp_path / "a.yaml").write_text("venue:\n  id: harbour\nzones: {heron: {outline: [[0, 12.5]]}}\n")
    reading = read_folder(tmp_path)
    places = reading.report.places
    assert reading.tree == {"venue": {"id": "harbour"}, "zones": {"heron": {"outline": [[0, 12.5]]}}}
    assert (places.keys[("venue", "id")].line, places.keys[("venue", "id")].column) == (2, 3)
    assert (places.values[("venue", "id")].line, places.values[("venue", "id")].column) == (2, 7)
    deep = places.values[("zones", "heron", "outline", 0, 1)]
    assert (deep.line, deep.column) == (3, 31)


def test_all_yaml_files_of_the_folder_are_one_and_subfolders_are_left_alone(tmp_path: Path) -> None:
    """Sections merge by key, lists one after the other, in the order of the files' names."""
    (tmp_path / "b.yaml").write_text("zones: {plover: {}}\noccupancy: [two]\n")
    (tmp_path / "a.yaml").write_text("zones: {heron: {}}\noccupancy: [one]\nscenes:\n")
    (tmp_path / "c.yml").write_text("zones: {other: {}}\n")
    (tmp_path / "panels").mkdir()
    (tmp_path / "panels" / "d.yaml").write_text("]")
    reading = read_folder(tmp_path)
    assert not reading.report.findings
    assert list(reading.tree["zones"]) == ["heron", "plover"]
    assert reading.tree["occupancy"] == ["one", "two"]
    assert reading.report.places.values[("occupancy", 1)].file.endswith("b.yaml")


def test_a_key_twice_in_one_file_names_both_places(faults: Callable[..., list[Finding]]) -> None:
    """The second one is the finding; it says where the first is."""
    found = faults(venue="zones:\n  heron: {type: a}\n  plover: {type: a, type: b}\n  heron: {type: a}\n")
    by_key = {f.key: f for f in found if "twice" in f.text}
    assert (by_key["zones.heron"].line, by_key["zones.heron"].column) == (4, 3)
    assert "venue.yaml:2:3" in by_key["zones.heron"].text
    assert (by_key["zones.plover.type"].line, by_key["zones.plover.type"].column) == (3, 21)


def test_a_key_in_two_files_names_both_places(faults: Callable[..., list[Finding]]) -> None:
    """Whichever file comes first by name is the first."""
    found = faults(a="zones: {heron: {type: a}}\n", b="\nzones: {heron: {type: a}}\n")
    twice = one([f for f in found if "twice" in f.text])
    assert twice.file.endswith("b.yaml")
    assert (twice.line, twice.column) == (2, 9)
    assert "a.yaml:1:9" in twice.text


def test_a_section_that_is_a_list_here_and_a_mapping_there_is_refused(faults: Callable[..., list[Finding]]) -> None:
    """They cannot be merged."""
    found = faults(a="occupancy: []\n", b="occupancy: {}\n")
    assert any(f.key == "occupancy" and "twice" in f.text for f in found)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("venue: {id: x\nzones: {", 2, 6),
        ("venue: [\n", 2, 1),
        ("a: 'b\n", 2, 1),
        ("a:\n\t- b\n", 2, 1),
        ("a: b: c\n", 1, 5),
        ("a: \x07\n", 1, 4),
        ("a: 1\n---\nb: 1\n", 2, 1),
    ],
)
def test_what_is_not_yaml_is_told_with_its_place(
    faults: Callable[..., list[Finding]], text: str, line: int, column: int
) -> None:
    """The parser's own words follow, and nothing else is said about a file that cannot be read."""
    found = one(faults(venue=text))
    assert (found.line, found.column) == (line, column)
    assert "not YAML" in found.text


def test_names_that_may_be_in_an_unreadable_file_are_not_said_to_be_missing(
    faults: Callable[..., list[Finding]],
) -> None:
    """The other files are still looked at for themselves."""
    found = faults(a="zones: {", b="controllers: {heron-wall: {home: heron, hime: 1}}")
    assert [f.key for f in found] == ["", "controllers.heron-wall.hime"]


def test_a_missing_folder_is_a_finding(tmp_path: Path) -> None:
    """It names the folder."""
    with pytest.raises(VenueFault) as caught:
        load(tmp_path / "nowhere")
    assert str(caught.value).startswith(f"{tmp_path / 'nowhere'}: there is no such folder")


def test_a_folder_without_yaml_is_a_finding(tmp_path: Path) -> None:
    """It says what to write."""
    with pytest.raises(VenueFault, match=r"has no \*\.yaml file"):
        load(tmp_path)


def test_an_empty_file_is_a_venue_without_anything(faults: Callable[..., list[Finding]]) -> None:
    """What it lacks is told."""
    assert {f.key for f in faults(venue="# nothing yet\n")} == {"venue", "zones"}


def test_a_file_that_is_too_large_is_not_read(
    faults: Callable[..., list[Finding]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bound is in the sentence."""
    monkeypatch.setattr(read, "VENUE_FILE_BYTES_MAX", 10)
    found = one(faults(venue="venue: {id: harbour}\n"))
    assert "20 bytes" in found.text or "21 bytes" in found.text
    assert "10 bytes" in found.right


def test_bytes_that_are_not_utf8_are_told_with_their_place(tmp_path: Path) -> None:
    """A file saved in another encoding."""
    (tmp_path / "venue.yaml").write_bytes("venue:\n  name: Caf\u00e9\n".encode("latin-1"))
    with pytest.raises(VenueFault) as caught:
        load(tmp_path)
    found = one(caught.value.findings)
    assert (found.line, found.column, found.text) == (2, 12, "the file is not UTF-8")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("devices: {a: {driver: b, x: .inf}}", "not a number"),
        ("devices: {a: {driver: b, x: .nan}}", "not a number"),
        ("devices: {a: {driver: b, x: 99999999999999999999}}", "too large"),
        ('devices: {a: {driver: b, x: "\\ud800"}}', "half a character"),
        ("devices: {a: {driver: b, x: !secret y}}", "tag"),
        ("devices: {a: {driver: b, x: !!set {y}}}", "tag"),
        ("devices: {a: {driver: b, x: &x [*x]}}", "holds itself"),
        ("devices: {a: {driver: b, [1]: 2}}", "a key has to be a word"),
        ("devices: {a: {driver: b, true: 2}}", "a key has to be a word"),
        ("- a\n- b\n", "not a mapping"),
        ("devices: " + "[" * 40 + "]" * 40, "holds itself"),
        ("devices: " + "[" * 1000 + "]" * 1000, "deep"),
    ],
)
def test_values_that_json_could_not_carry_are_refused(
    faults: Callable[..., list[Finding]], text: str, says: str
) -> None:
    """They are told where they stand, and only once."""
    found = [f for f in faults(venue=text) if says in f"{f.text}"]
    assert len(found) == 1


def test_anchors_that_multiply_are_bounded(
    faults: Callable[..., list[Finding]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A few lines that would mean a million values are refused before they are written out."""
    monkeypatch.setattr(read, "VALUES_MAX", 1000)
    lines = ["devices:", "  a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"  a{n}: &a{n} [*a{n - 1}, *a{n - 1}, *a{n - 1}, *a{n - 1}, *a{n - 1}]" for n in range(1, 12)]
    assert sum("too much" in f.text for f in faults(venue="\n".join(lines))) == 1


def test_an_anchor_says_a_thing_once(venue: Callable[..., Loaded]) -> None:
    """An alias is the same value again."""
    loaded = venue(
        venue="venue: {id: a, timezone: UTC}\n"
        "zone_types: {t: {controls: {v: &v {kind: level, unit: dB, range: [0, 1], travel: 1s}, w: *v}}}\n"
        "zones: {z: {type: t}}\n"
    )
    controls = loaded.data["zones"]["z"]["controls"]
    assert {**controls["v"], "name": ""} == {**controls["w"], "name": ""}


EXAMPLE = Path(__file__).parents[2] / "config" / "tidewater" / "venue.yaml"
WORDS = st.sampled_from(sorted({*re.findall(r"\w+|\S", EXAMPLE.read_text(encoding="utf-8")), *"&*!|>'@`%?"}))
INDENTED = st.builds(
    "".join, st.lists(st.one_of(WORDS, st.sampled_from(["\n  ", "\n    ", ": ", "- ", "\n", " "]), st.text(max_size=3)))
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.one_of(st.text(), INDENTED))
def test_any_text_is_a_venue_or_a_venue_fault(text: str, tmp_path: Path) -> None:
    """No text brings anything else about."""
    (tmp_path / "venue.yaml").write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(VenueFault):
        load(tmp_path)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(raw=st.binary())
def test_any_bytes_are_a_venue_or_a_venue_fault(raw: bytes, tmp_path: Path) -> None:
    """No file brings anything else about."""
    (tmp_path / "venue.yaml").write_bytes(raw)
    with pytest.raises(VenueFault):
        load(tmp_path)
