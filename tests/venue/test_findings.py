"""Findings and their places."""

from __future__ import annotations

from roomlink.venue.findings import Finding, Place, Places, Report, dotted, in_order, instead, nearest


def test_a_finding_is_one_line_that_leads_to_its_place() -> None:
    """Without a line it is about the whole file, without a key about all that is in it."""
    assert str(Finding("a.yaml", 3, 5, "zones.heron", "error", "is odd", "make it even")) == (
        "a.yaml:3:5: zones.heron: is odd; make it even"
    )
    assert str(Finding("folder", 0, 0, "", "error", "is not there")) == "folder: is not there"


def test_paths_are_dotted_with_indices_in_brackets() -> None:
    """As people write them."""
    assert dotted(("occupancy", 0, "zones", 1)) == "occupancy[0].zones[1]"


def test_what_was_not_written_is_where_the_nearest_thing_around_it_was() -> None:
    """A missing member is told at the entry that lacks it."""
    places = Places(Place("a.yaml", 1, 1), {("zones", "heron"): Place("a.yaml", 3, 3)}, {})
    assert places.of(("zones", "heron", "type")) == Place("a.yaml", 3, 3)
    assert places.of(("scenes",)) == Place("a.yaml", 1, 1)


def test_the_same_finding_is_told_once() -> None:
    """However many ways lead to it."""
    report = Report(Places(Place("a.yaml", 1, 1)))
    report.add(("zones",), "is odd")
    report.add(("zones",), "is odd")
    assert len(report.sorted("error")) == 1
    assert report.sorted("warning") == []


def test_nothing_more_is_said_about_what_could_not_be_read() -> None:
    """Nor about what is in it."""
    report = Report(Places(Place("a.yaml", 1, 1)))
    report.spoil(("zones", "heron"))
    report.add(("zones", "heron", "type"), "is odd")
    report.add(("zones", "plover"), "is odd")
    assert [f.key for f in report.findings] == ["zones.plover"]


def test_findings_are_in_the_order_of_their_places() -> None:
    """By file, line, column."""
    made = [Finding(f, line, column, "", "error", "") for f, line, column in (("b", 1, 1), ("a", 10, 1), ("a", 9, 2))]
    assert [(f.file, f.line) for f in in_order(made)] == [("a", 9), ("a", 10), ("b", 1)]


def test_the_nearest_name_is_offered_before_all_others() -> None:
    """A name that was begun comes first, then the one that looks most alike."""
    assert nearest("lead", ["blend", "lead_order"]) == "lead_order"
    assert nearest("hern", ["plover", "heron"]) == "heron"
    assert nearest("xyz", ["plover", "heron"]) is None
    assert instead("xyz", ["heron"], "zones") == "there is heron"
    assert instead("xyz", [], "zones") == "this venue has no zones"
