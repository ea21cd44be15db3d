"""What can be asked of a venue. Every command says who asks; the time is given beside it, to ``decide``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from roomlink.core.access_commands import AccessCommand
from roomlink.core.actor import CLOCK as CLOCK
from roomlink.core.actor import SERVICE as SERVICE
from roomlink.core.actor import Actor as Actor
from roomlink.core.alarm_commands import AlarmCommand
from roomlink.core.alarm_commands import ReportTrouble as ReportTrouble
from roomlink.core.bookings import OneWish, Wish
from roomlink.core.division_commands import CombineWall as CombineWall
from roomlink.core.division_commands import DivisionCommand
from roomlink.core.division_commands import StateArrangement as StateArrangement
from roomlink.core.evening_records import AnnounceRoutine as AnnounceRoutine
from roomlink.core.evening_records import EveningCommand
from roomlink.core.evening_records import KeepOn as KeepOn
from roomlink.core.evening_records import MarkWall as MarkWall
from roomlink.core.evening_records import ProlongDate as ProlongDate
from roomlink.core.evening_records import ReportPaging as ReportPaging
from roomlink.core.evening_records import ReportPassDoor as ReportPassDoor
from roomlink.core.evening_records import ReportPresence as ReportPresence
from roomlink.core.evening_records import UnmarkWall as UnmarkWall
from roomlink.core.lead_records import LeadCommand
from roomlink.core.lead_records import ReportPanel as ReportPanel
from roomlink.core.lead_records import TakeLead as TakeLead
from roomlink.core.lock_records import LockCommand
from roomlink.core.lock_records import ReleaseLock as ReleaseLock
from roomlink.core.lock_records import SetLock as SetLock
from roomlink.core.spec import Value
from roomlink.core.travel_commands import AssignMicrophone as AssignMicrophone
from roomlink.core.travel_commands import EndOverflow as EndOverflow
from roomlink.core.travel_commands import StartOverflow as StartOverflow
from roomlink.core.travel_commands import TravelCommand


@dataclass(frozen=True, slots=True)
class Act:
    """Do something with a control: through a ``controller`` on all its linked zones, or on one ``zone``.

    ``over`` in seconds; ``for_s`` bounds a held action whose holder cannot be watched.
    """

    by: Actor
    control: str
    do: str
    controller: str | None = None
    zone: str | None = None
    value: Value = None
    over: float = 0.0
    for_s: float | None = None
    given: bool = True
    """Whether ``value`` was given at all: ``align`` without one takes the value shown."""


@dataclass(frozen=True, slots=True)
class LinkZone:
    by: Actor
    controller: str
    zone: str


@dataclass(frozen=True, slots=True)
class Unlink:
    """Unlink one zone, or all when ``zone`` is None."""

    by: Actor
    controller: str
    zone: str | None = None


@dataclass(frozen=True, slots=True)
class LetGo:
    """The holder gave no sign of life: let go of all it holds, as of the stamp ``as_of``."""

    by: Actor
    holder: str
    as_of: float
    why: str


@dataclass(frozen=True, slots=True)
class ReportWall:
    """A partition's position or its contacts (closed end made, stacked end made) are reported.

    A contact of None keeps what it said last. ``lost`` names the ends (``closed``, ``stacked``) whose contacts can no
    longer be read: what they said counts no more. ``pin``, in seconds, states the position against the sensor; 0 takes
    a pin away.
    """

    by: Actor
    partition: str
    position: str | None = None
    contacts: tuple[bool | None, bool | None] | None = None
    pin: float | None = None
    lost: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class JoinZones:
    """Treat zones as one group though no open wall ties them; without zones the overflow ends."""

    by: Actor
    overflow: str
    zones: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RecallScene:
    """Recall a scene: in ``zones``, in a ``controller``'s linked zones, in the group of a zone, or in its own scope."""

    by: Actor
    scene: str
    zones: tuple[str, ...] | None = None
    controller: str | None = None
    group: str | None = None
    over: float = 0.0


@dataclass(frozen=True, slots=True)
class SaveScene:
    """Save ``content``, or capture what ``capture`` (zones) have now.

    ``if_match`` lists the entity tags that may be replaced ("*": any); ``only_new`` refuses to replace.
    """

    by: Actor
    scene: str
    content: Mapping[str, Any] | None = None
    capture: tuple[str, ...] | None = None
    if_match: tuple[str, ...] | None = None
    only_new: bool = False


@dataclass(frozen=True, slots=True)
class RemoveScene:
    """Remove a saved scene: the configured one of that name, if there is one, counts again.

    ``if_match`` lists the entity tags that may be removed ("*": any).
    """

    by: Actor
    scene: str
    if_match: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class ReportOverride:
    """An override's input says active or clear, or is ``lost``. Never refused, whatever else stands."""

    by: Actor
    override: str
    active: bool
    why: str = ""
    lost: bool = False


@dataclass(frozen=True, slots=True)
class ReportControl:
    """A device says that a control was changed there by hand. It is taken as it is; a choice has no gap any more."""

    by: Actor
    zone: str
    control: str
    value: Value


@dataclass(frozen=True, slots=True)
class ReportDevice:
    """A device can be talked to, or no longer; then every motion that it drives stops."""

    by: Actor
    device: str
    up: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Arm:
    """``who`` has checked a binding of power or motion on site and allows it to be driven."""

    by: Actor
    binding: str
    who: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Disarm:
    by: Actor
    binding: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class RecordCheck:
    """``who`` has checked a commissioning item on site. ``unit`` is that of ``measured``; the item's own if empty."""

    by: Actor
    item: str
    result: str
    who: str
    measured: float | None = None
    unit: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class StopMotion:
    """Stop every motion, as the service stops or a person asks. Never refused."""

    by: Actor
    why: str


@dataclass(frozen=True, slots=True)
class CreateBooking:
    """Book zones. ``booking`` is a new name that nobody else has.

    All dates or none, unless ``accept_free``: then those that are taken are left out and told.
    """

    by: Actor
    booking: str
    wish: Wish
    accept_free: bool = False


@dataclass(frozen=True, slots=True)
class ChangeBooking:
    """A booking shall be as ``wish`` says. Dates changed by themselves stay, and so does what is over.

    ``if_match`` lists the entity tags that may be replaced ("*": any).
    """

    by: Actor
    booking: str
    wish: Wish
    if_match: tuple[str, ...] | None = None
    accept_free: bool = False


@dataclass(frozen=True, slots=True)
class CancelBooking:
    """Cancel a booking: what is not over of it no longer holds its zones. It stays in the diary as cancelled."""

    by: Actor
    booking: str
    if_match: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class ChangeOccurrence:
    """Change, move or cancel (``status`` cancelled) one date of a booking, by its key."""

    by: Actor
    booking: str
    key: str
    wish: OneWish
    if_match: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class ExtendBooking:
    """Time has gone on: a recurring booking has these ``starts`` too, and is expanded up to ``upto`` (None: all).

    Dates that are taken meanwhile are left out, with a notice.
    """

    by: Actor
    booking: str
    starts: tuple[float, ...]
    upto: float | None


@dataclass(frozen=True, slots=True)
class ForgetBookings:
    """Forget dates that were over before the stamp ``before``."""

    by: Actor
    before: float


@dataclass(frozen=True, slots=True)
class TickMove:
    """Tick a wall's move off as made, or (``done`` false) take that back. ``key`` is that of the move."""

    by: Actor
    partition: str
    key: str
    done: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class RunRoutine:
    """A routine is due since the stamp ``due``."""

    by: Actor
    routine: str
    due: float


@dataclass(frozen=True, slots=True)
class NoteTold:
    """A webhook was told everything up to the entry ``upto`` but what ``failed``; None: it is no longer configured."""

    by: Actor
    webhook: str
    upto: int | None
    failed: tuple[tuple[int, int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Configure:
    """The venue is this from now on."""

    by: Actor
    data: Mapping[str, Any]
    digest: str


@dataclass(frozen=True, slots=True)
class Recover:
    """The service has started again; its last stamp before was ``last``."""

    by: Actor
    last: float


@dataclass(frozen=True, slots=True)
class Wake:
    """Time has come for what was due."""

    by: Actor = CLOCK


Command = (
    Act
    | LinkZone
    | Unlink
    | LetGo
    | ReportWall
    | JoinZones
    | RecallScene
    | SaveScene
    | RemoveScene
    | ReportOverride
    | ReportControl
    | ReportDevice
    | Arm
    | Disarm
    | RecordCheck
    | StopMotion
    | NoteTold
    | AlarmCommand
    | DivisionCommand
    | LockCommand
    | LeadCommand
    | CreateBooking
    | ChangeBooking
    | CancelBooking
    | ChangeOccurrence
    | ExtendBooking
    | ForgetBookings
    | TickMove
    | RunRoutine
    | AccessCommand
    | EveningCommand
    | TravelCommand
    | Configure
    | Recover
    | Wake
)
