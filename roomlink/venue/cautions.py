"""What stays a person's business, in words for the output of a check and for documents. No finding, and no claim."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

NOT_SAFETY = (
    "roomlink is not a safety function, and claims conformity to no standard. Hard-wired protection, local codes, the "
    "authority having jurisdiction and licensed practice come first."
)
MACHINES = (
    "What moves or carries power is made safe by other means. Read ISO 13850:2015 Safety of machinery — Emergency stop "
    "function — Principles for design; IEC 60204-1 Safety of machinery – Electrical equipment of machines – Part 1: "
    "General requirements; ISO 13849-1:2023 Safety of machinery — Safety-related parts of control systems — Part 1: "
    "General principles for design; ISO 14118:2017 Safety of machinery — Prevention of unexpected start-up."
)
MOTION = (
    "Screens, shades and lifts: read ANSI/CAN/UL 325 Standard for Safety for Door, Drapery, Gate, Louver, and Window "
    "Operators and Systems. EN 12453 excludes theatre curtains."
)
PARTITIONS = (
    "Operable partitions are sensed, never driven. New York 8 NYCRR 155.25 asks in schools for two key-operated "
    "constant-pressure stations, in series, at opposite ends and in view of the partition, and for devices that stop "
    "travel. EN 16005 excludes partition walls. On sound between rooms read ASTM E557-12(2020) Standard Guide for "
    "Architectural Design and Installation Practices for Sound Isolation between Spaces Separated by Operable "
    "Partitions."
)
POWER = "Power outputs are installed under NFPA 70 or the local electrical code, by those who are licensed to."
LIFE_SAFETY = (
    "An override only follows the fire panel, which acts by its own wiring first. Read NFPA 72 and NFPA 101, or what "
    "the local code puts in their place."
)
OCCUPANCY = (
    "Posted numbers of people come from the authority, for each intended configuration (IBC §1004.9); none is computed "
    "here."
)


def cautions(data: Mapping[str, Any]) -> list[str]:
    """One text each, for what is in the resolved ``data``; the bindings that a person has to arm come last."""
    return list(_cautions(data))


def _cautions(data: Mapping[str, Any]) -> Iterator[str]:
    bindings = data.get("bindings", ())
    classes = {binding["class"] for binding in bindings}
    kinds = {control["kind"] for zone in data["zones"].values() for control in zone["controls"].values()}
    overrides = data.get("overrides", {}).values()
    present = (
        (NOT_SAFETY, True),
        (MACHINES, "motion" in kinds or "power" in classes),
        (MOTION, "motion" in kinds),
        (PARTITIONS, bool(data["partitions"])),
        (POWER, "power" in classes),
        (LIFE_SAFETY, any(override["kind"] == "life-safety" for override in overrides)),
        (OCCUPANCY, bool(data.get("occupancy"))),
    )
    yield from (text for text, there in present if there)
    for binding in bindings:
        if binding["class"] != "signal":
            yield (
                f"{binding['name']} ({binding['class']}, on {binding['device']}) stays disarmed until a commissioning "
                f"record names who checked it on site and when; any change to it disarms it again."
            )
