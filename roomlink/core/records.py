"""The records that state is made of. All are frozen: a change replaces a record.

Times are stamps: seconds since 1970-01-01T00:00Z on the service's clock, which never goes back.
"""

from __future__ import annotations

from dataclasses import dataclass

from roomlink.core.spec import Value


@dataclass(frozen=True, slots=True)
class Level:
    """A trajectory: from ``origin`` at ``start`` to ``to`` after ``seconds``; at rest when ``seconds`` is 0."""

    origin: float
    to: float
    start: float = 0.0
    seconds: float = 0.0
    by: str = ""
    curve: str = "linear"

    def at(self, now: float) -> float:
        """The value at ``now``, exactly ``to`` from the moment of arrival on."""
        # Compared as ``arrival`` is computed: a difference would be off by a rounding at the very deadline.
        if now >= self.start + self.seconds:
            return self.to
        elapsed = now - self.start
        if elapsed <= 0.0:
            return self.origin
        return self.origin + (self.to - self.origin) * min(elapsed / self.seconds, 1.0)

    @property
    def arrival(self) -> float | None:
        """When it stops by itself; None at rest."""
        return self.start + self.seconds if self.seconds > 0.0 else None


@dataclass(frozen=True, slots=True)
class Choice:
    """The option that is on. In a gap ``value`` is None and ``pending`` goes on at ``due``.

    ``free`` is the earliest time at which anything may go on again after the last break.
    """

    value: str | None
    pending: str | None = None
    due: float | None = None
    free: float = 0.0
    by: str = ""


@dataclass(frozen=True, slots=True)
class Switch:
    """On or off since ``since``; ``pending`` waits for ``min_on`` or ``min_off`` until ``due``."""

    value: bool
    since: float = 0.0
    pending: bool | None = None
    due: float | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class Momentary:
    """On while any hold of it stands."""

    value: bool = False
    by: str = ""


@dataclass(frozen=True, slots=True)
class Motion:
    """A motion that is ``running`` (open, close or None) and stops at ``until`` at the latest.

    ``last`` ran until ``stopped``; ``pending`` starts at ``due``, when the dead time is over. ``began`` is when the
    run began that counts towards the longest one: a stop shorter than the dead time does not end it.
    """

    running: str | None = None
    began: float = 0.0
    since: float = 0.0
    until: float | None = None
    last: str | None = None
    stopped: float = 0.0
    pending: str | None = None
    due: float | None = None
    by: str = ""


Control = Level | Choice | Switch | Momentary | Motion
RECORD_KINDS: dict[str, type[Level] | type[Choice] | type[Switch] | type[Momentary] | type[Motion]] = {
    "level": Level,
    "choice": Choice,
    "switch": Switch,
    "momentary": Momentary,
    "motion": Motion,
}
KIND_OF = {record: kind for kind, record in RECORD_KINDS.items()}


@dataclass(frozen=True, slots=True)
class Link:
    """Controller to zone. It stands while ``reasons`` holds any of home, hand, booking and combining.

    ``pickup`` names the levels on which the controller does not act yet; ``excess`` holds, by level, how far the
    zone would stand outside its range if the range had no end (``level_mode: offset``).
    """

    reasons: tuple[str, ...]
    since: float
    pickup: tuple[str, ...] = ()
    excess: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Hold:
    """Something held: ``holder`` (a socket, or an HTTP client until ``until``) acts on ``zones`` until let go.

    ``base`` holds each zone's value at the start, range ends ignored, where differences must survive them
    (``level_mode: offset``). ``who`` is the actor, of whom ``holder`` may be one socket of many.
    """

    holder: str
    controller: str | None
    control: str
    do: str
    zones: tuple[str, ...]
    start: float
    until: float | None = None
    base: tuple[tuple[str, float], ...] = ()
    who: str = ""


@dataclass(frozen=True, slots=True)
class Wall:
    """What is known of a partition.

    ``position`` is the one that counts, ``joins`` whether it joins its zones now (an unknown or moving wall may keep
    what it had). ``report`` is the newest report, which counts at ``due`` unless contradicted; ``sensed`` the last
    that did. A pin holds ``position`` until ``pinned_until``. ``late`` is when a move has taken too long.
    ``by`` said the position that counts, ``via`` what; ``told`` is who reported last, and via what.
    """

    position: str = "unknown"
    joins: bool = False
    trust: str = "unknown"
    report: str | None = None
    due: float | None = None
    sensed: str | None = None
    contacts: tuple[bool | None, bool | None] = (None, None)
    pinned_until: float | None = None
    late: float | None = None
    flagged: bool = False
    by: str = ""
    via: str = ""
    told: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Role:
    """A controller's part in its group: whether it leads, and who locks it out."""

    lead: bool = False
    locked: str | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An abnormal condition, last begun at ``since``; ``text`` is for a person. For ``state`` see ``alarm_kinds``.

    While it chatters (``quiet`` says until when it has to keep still for that to be over) it is held standing, and
    ``real`` says how it is. ``by`` acknowledged, shelved (``until`` then) or took it out of service, ``why`` says why,
    also where the configuration suppresses it. ``count`` says how often it was raised, ``raises`` when of late.
    """

    since: float
    text: str
    state: str = "unacknowledged"
    stands: bool = True
    real: bool = True
    priority: str = "medium"
    count: int = 1
    by: str = ""
    why: str = ""
    until: float | None = None
    raises: tuple[float, ...] = ()
    quiet: float | None = None


@dataclass(frozen=True, slots=True)
class Override:
    """An override that stands since ``since``; ``why`` says how it came about."""

    since: float
    why: str


@dataclass(frozen=True, slots=True)
class Mask:
    """What a control's output is while ``override`` stands, whatever the control itself says."""

    override: str
    value: Value


@dataclass(frozen=True, slots=True)
class Arming:
    """A commissioning record: ``who`` checked a binding of power or motion at ``at``, as ``digest`` had it."""

    who: str
    at: float
    digest: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """What a person found at a commissioning item at ``at``, as ``digest`` had it.

    ``result`` is one of ``commissioning.RESULTS``; ``measured`` is in ``unit``.
    """

    result: str
    who: str
    at: float
    digest: str
    measured: float | None = None
    unit: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class StoredScene:
    """A scene saved by a person over the configured one. ``etag`` changes with the content."""

    content: dict[str, Value] | dict[str, dict[str, Value]]
    etag: str
