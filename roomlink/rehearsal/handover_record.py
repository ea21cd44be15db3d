"""The test record of a handover: what was checked, by whom and with what result; what is open; lines to sign."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from roomlink.rehearsal.handover_html import pairs, say, table
from roomlink.rehearsal.handover_model import Handover
from roomlink.rehearsal.handover_tables import armed_by
from roomlink.rehearsal.handover_words import figure

KINDS = {
    "wall": "Walls",
    "panel": "Panels",
    "device": "Devices",
    "binding": "Bindings",
    "override": "Override inputs",
    "ceiling": "Ceilings",
}
STANDINGS = {
    "pass": "passed",
    "fail": "failed",
    "not-applicable": "does not apply",
    "again": "to be done again",
    "open": "open",
}

Item = dict[str, Any]


def record(h: Handover) -> str:
    """The section's content."""
    checks = h.checks()
    items: list[Item] = checks["items"]
    left = [item for item in items if item["standing"] in ("fail", "again", "open")]
    return "".join(
        (
            _head(h, checks["summary"], len(items)),
            f"<h3>Still to be done</h3>{_left(left, len(items))}",
            *(_kind(h, kind, [item for item in items if item["kind"] == kind]) for kind in KINDS),
            _armings(h),
            '<div class="sign">'
            + "".join(f"<span>{say(who)}</span><span>Signature</span><span>Date</span>" for who in SIGNERS)
            + "</div>",
        )
    )


SIGNERS = ("For the integrator, in block letters", "For the venue, in block letters")


def _head(h: Handover, summary: dict[str, int], total: int) -> str:
    counts = ", ".join(f"{number} {STANDINGS[standing]}" for standing, number in summary.items() if number)
    told = [("Configuration", h.loaded.digest), ("Items", f"{total}: {counts or 'none'}")]
    if h.recorded is None:
        text = "No journal was given for this handover: everything that is checked on site is listed as open."
    elif h.recorded == h.loaded.digest:
        text = "As put down on site, and kept in the journal. The journal's configuration is the one of this handover."
    else:
        told.insert(1, ("Journal's configuration", h.recorded))
        text = (
            "The journal ended with another configuration than this one. What was checked and has changed since is"
            " listed as to be done again."
        )
    return f"<p>{say(text)}</p>{pairs(told)}"


def _left(left: Sequence[Item], total: int) -> str:
    if len(left) == total and not any(item["record"] for item in left):
        return "<p>All of it: nothing has been put down yet. Every item is listed below as open.</p>"
    rows = [(item["title"], item["item"], STANDINGS[item["standing"]], _note(item)) for item in left]
    return table(("what", "item", "standing", "note"), rows, "Nothing: every item has passed or does not apply.")


def _note(item: Item) -> str:
    return str(item["record"]["note"]) if item["record"] else ""


def _kind(h: Handover, kind: str, items: Sequence[Item]) -> str:
    if not items:
        return ""
    heads = ("what and how", "result", "measured", "who and when", "note")
    rows = [
        (f"{item['title']}\n{item['how']} [{item['item']}]", STANDINGS[item["standing"]], *_found(h, item))
        for item in items
    ]
    return f"<h3>{say(KINDS[kind])}</h3>{table(heads, rows, kind='checks')}"


def _found(h: Handover, item: Item) -> tuple[str, str, str]:
    found = item["record"]
    if found is None:
        return "", "", ""
    measured = "" if found["measured"] is None else f"{figure(found['measured'])} {found['unit']}"
    return measured, f"{found['who']}, {h.when(found['at'])}", found["note"]


def _armings(h: Handover) -> str:
    rows = [
        (b["name"], b["class"], b["device"], armed_by(h, b), _arming_note(h, b["name"]))
        for b in h.data["bindings"]
        if b["class"] != "signal"
    ]
    heads = ("binding", "class", "device", "armed by", "note")
    text = table(heads, rows, "No binding feeds power or motion.")
    return f"<h3>Arming of power and motion</h3>{text}"


def _arming_note(h: Handover, binding: str) -> str:
    arming = h.state.armed.get(binding)
    return arming.note if arming is not None else ""
