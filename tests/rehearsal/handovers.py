"""A venue with something of everything, with names that would break a careless page."""

from __future__ import annotations

from pathlib import Path

from roomlink.core.apply import apply
from roomlink.core.commands import Arm, Configure, RecordCheck
from roomlink.core.decide import decide
from roomlink.core.state import State
from roomlink.drivers.registry import Registry
from roomlink.rehearsal.handover import documents, handover
from roomlink.rehearsal.handover_compare import Comparison
from roomlink.runtime.device_rules import DriverRules
from roomlink.testing.driver import FINGER
from roomlink.venue.load import Loaded, load
from tests.api.harness import write_venue

DATE = "2026-11-25"

MILL = """
venue: {id: mill, name: 'Mill <b>"House"</b> & Sons', timezone: Europe/Lisbon}
zone_types:
  section:
    controls:
      program: {kind: choice, options: [lectern, laptop], sources: true, gap: 300ms}
      volume: {kind: level, unit: dB, range: [-60, 0], travel: 3s, start: -30, ceiling: -6}
      mute: {kind: switch, start: on}
      house: {kind: level, unit: "%", range: [0, 100], travel: 3s, start: 70, scope: local}
zones:
  north: {type: section, name: '=North & "co"', outline: [[0, 0], [12, 0], [12, 15], [0, 15]]}
  south:
    type: section
    outline: [[0, 15], [12, 15], [12, 30], [0, 30]]
    controls:
      lamp: {kind: switch, min_off: 10s, scope: local}
      screen: {kind: motion, name: <script>alert(1)</script>, travel: 18s, max_run: 24s}
partitions:
  north-south:
    between: [north, south]
    line: [[0, 15], [12, 15]]
    contacts: {closed: {device: contacts, point: {discrete_input: 5}}}
controllers:
  north-wall: {home: north, name: North panel}
  south-wall: {home: south, feedback: majority, reach: [south]}
combining:
  lead_order: [north-wall, south-wall]
  others: mirror
  blend: 1s
  on_combine: {program: lead, volume: quietest}
  on_separate: {program: none, volume: restore}
occupancy: [{zones: [north], posted: 111}, {zones: [north, south], posted: 222}]
scenes:
  dinner: {type: section, values: {house: 35, volume: -38}}
  toast: {name: A toast, zones: {south: {house: 10}}}
devices:
  dimmers: {driver: e131, universe: 256}
  desk: {driver: osc, host: desk.local, port: 10023, listen: 10024}
  contacts: {driver: modbus, host: 10.0.0.9}
  projector: {driver: pjlink, host: 10.0.0.7, password_file: secrets/projector}
  blinds: {driver: http, base: 'https://blinds.local/api', secret_headers: {Authorization: secrets/blinds}}
  relays: {driver: simulated}
supplies: {rack: {stagger: 500ms}}
bindings:
  - {control: north.house, device: dimmers, point: {channel: 1}, curve: square}
  - {control: north.volume, device: desk, point: {address: /north/gain}}
  - {control: south.lamp, device: relays, point: {name: lamp}, class: power, supply: rack, min_off: 10s, on_loss: holds}
  - name: big-screen
    control: south.screen
    device: relays
    class: motion
    open: {name: down}
    close: {name: up}
    on_loss: off
overrides:
  fire: {kind: life-safety, input: {device: contacts, point: {discrete_input: 6}}, values: {mute: on, house: 100}}
microphones: {north-lectern: {zone: north, at: [6, 2]}}
loudspeakers: {north-ceiling: {zone: north, at: [6, 8]}, south-ceiling: {zone: south, at: [6, 22]}}
"""


def mill(folder: Path, text: str = MILL) -> Loaded:
    """The venue, proved with the real drivers."""
    return load(write_venue(folder, text), DriverRules(Registry.of(plugins=[])))


def on_site(loaded: Loaded) -> State:
    """What a journal ends with after somebody has begun to check and armed the screen."""
    state, stamp = State(), 1_764_000_000.0
    for command in (
        Configure(FINGER, loaded.data, loaded.digest),
        RecordCheck(FINGER, "wall/north-south/open", "pass", "M. <i>Tamatea</i>", 2.5, "s"),
        RecordCheck(FINGER, "ceiling/north.volume/highest", "fail", "J. Okafor", -3.25, "dB(A)", "=too loud"),
        RecordCheck(FINGER, "device/blinds/reachable", "not-applicable", "J. Okafor", note="not hung yet"),
        Arm(FINGER, "big-screen", "M. Tamatea", "limits proven"),
    ):
        for event in decide(state, command, stamp).events:
            apply(state, event)
        stamp += 60.0
    return state


def made(loaded: Loaded, journal: State | None = None, changes: Comparison | None = None) -> dict[str, str]:
    """The documents, by their paths."""
    return documents(handover(loaded, DATE, journal=journal, registry=Registry.of(plugins=[])), changes)
