"""Findings about what joins and parts zones: a venue that can run, but not as its people would expect."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from roomlink.core import treating
from roomlink.core.spec import LevelSpec, Value
from roomlink.venue.fields import plain
from roomlink.venue.findings import Path
from roomlink.venue.load import Loaded

Note = tuple[Path, str, str]


def _adopted(loaded: Loaded) -> Iterator[Note]:
    """What joins adopts what the others have: somebody beyond a wall has to have it."""
    spec = loaded.spec
    for control, rule in spec.combining.on_combine.items() if spec.combining else ():
        both = (all(control in spec.zones[z].controls for z in wall.between) for wall in spec.partitions.values())
        if rule == "lead" and spec.partitions and not any(both):
            text = f"no wall has {control} on both its sides, so that nobody ever adopts it"
            yield ("combining", "on_combine", control), text, "leave the rule out, or give the zones the control"


def _asked(loaded: Loaded) -> Iterator[Note]:
    """A wall that asks needs a panel that shows the question."""
    spec = loaded.spec
    led = {spec.controllers[c].home for c in (spec.combining.lead_order if spec.combining else ())}
    homes = {zone for zone, controllers in spec.homed_at.items() if controllers}
    for partition, wall in spec.partitions.items():
        if wall.combine != "auto" and not (led or homes).intersection(wall.between):
            text = f"combine: {wall.combine} is answered at the lead's panel of each side, and there is none"
            yield ("partitions", partition, "combine"), text, "give a zone beside it a controller that may lead"


def _stated_alike(loaded: Loaded) -> Iterator[Note]:
    """Two names for the same positions are one too many."""
    seen: dict[frozenset[tuple[str, str]], str] = {}
    for name, arrangement in loaded.spec.arrangements.items():
        first = seen.setdefault(frozenset(arrangement.walls.items()), name)
        if first != name:
            yield ("arrangements", name), f"it states what {first} states", "keep one of the two"


def _fences_heard(loaded: Loaded) -> Iterator[Note]:
    """Somebody has to hear of a wall that opens between two bookings."""
    for one in loaded.spec.alarms.suppressed:
        if one.alarm.partition("/")[0] == "fence" and one.override is None and one.other is None:
            text = "nobody is told of a wall that opened between two bookings, and nothing combines there"
            yield ("alarms", "suppressed"), text, "say while: what it means nothing"


def _kept_by_leads(loaded: Loaded) -> Iterator[Note]:
    """A panel that leads hangs on a wall: its links by hand would go on across the wall that closed."""
    spec = loaded.spec
    for controller in spec.combining.lead_order if spec.combining else ():
        if spec.controllers[controller].hand_links_on_close == "keep":
            text = f"{controller} leads, and keeps its links by hand across walls that close"
            yield ("controllers", controller, "hand_links_on_close"), text, "keep is for a panel that is carried about"


def _louder(loaded: Loaded) -> Iterator[Note]:
    """What parts is to get no louder unasked; a value in on_separate asks for it."""
    spec = loaded.spec
    for control, value in spec.combining.on_separate.items() if spec.combining else ():
        kinds = [zone.controls[control] for zone in spec.zones.values() if control in zone.controls]
        at: Path = ("combining", "on_separate", control)
        if value is False and any(treating.is_mute(kind, control) for kind in kinds):
            yield at, f"{control} goes off whenever a zone parts: sound comes up unasked", "write restore or keep"
        elif any(_rises(kind, value) for kind in kinds if treating.is_sound(kind)):
            text = f"a zone that is quieter than {plain(float(value or 0))} gets louder when it parts"
            yield at, text, "write restore or keep"


def _rises(kind: object, value: Value) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and isinstance(kind, LevelSpec) and float(value or 0.0) > kind.lo


RULES: tuple[Callable[[Loaded], Iterator[Note]], ...] = (
    _adopted, _asked, _stated_alike, _fences_heard, _kept_by_leads, _louder,
)  # fmt: skip
