"""Every exception that roomlink raises on purpose, by whose fault it is.

    RoomlinkError
    ├── CallerFault            what was asked cannot be done; nothing was changed
    │   ├── UnknownName        404  a name that this venue does not have
    │   ├── BadValue           422  a value outside what the field allows
    │   ├── Refused            409  a sound request that the present state forbids; ``kind`` says why
    │   ├── Precondition       412/428  a write that could have lost somebody else's
    │   ├── NotAllowed         401/403  who asks is not known, or may not do it
    │   ├── TooMany            429  asked too often; ``retry_s`` says when to ask again
    │   └── BadRequest         400  a request or message that cannot be read at all
    ├── BackupRefused          a backup that cannot be made, or must not be restored; the message says what to do
    ├── VenueFault             a configuration with findings; ``findings`` lists all of them
    └── OurFault
        ├── JournalFailed      503  the journal could not take an entry; nothing was acknowledged
        ├── JournalHeld        another service holds the journal
        └── JournalDamaged     a stored journal that cannot be used as it lies

A ``CallerFault`` becomes an RFC 9457 problem on every public face; ``kind`` is the last part of its stable ``type``.
"""

from __future__ import annotations

import math
from typing import Any


class RoomlinkError(Exception):
    """The root; catch it only where a process ends."""


class CallerFault(RoomlinkError):
    """What was asked cannot be done. ``detail`` is a sentence for a person and says what would be right."""

    status = 400
    title = "The request cannot be carried out"

    def __init__(self, kind: str, detail: str, **members: Any) -> None:
        super().__init__(detail)
        self.kind = kind
        self.detail = detail
        self.members = members


class UnknownName(CallerFault):
    """A name that this venue does not have."""

    status = 404
    title = "No such name in this venue"

    def __init__(self, what: str, name: str, allowed: list[str] | None = None) -> None:
        known = sorted(allowed or [])
        listed = ", ".join(known[:20]) + (", ..." if len(known) > 20 else "")
        super().__init__(
            "unknown-name",
            f"there is no {what} named {name!r}" + (f"; there is {listed}" if known else ""),
            field=what,
            allowed=known[:100],
        )


class BadValue(CallerFault):
    """A value outside what the field allows; ``members`` names the field and what is allowed."""

    status = 422
    title = "The value is not allowed"

    def __init__(self, field: str, detail: str, **members: Any) -> None:
        super().__init__("bad-value", f"{field}: {detail}", field=field, **members)


class Refused(CallerFault):
    """A sound request that the present state forbids."""

    status = 409
    title = "Refused in the present state"


class Precondition(CallerFault):
    """A write without the condition that protects others' writes (428), or whose condition is false (412)."""

    status = 412
    title = "The condition of the request does not hold"

    def __init__(self, kind: str, detail: str, *, status: int, **members: Any) -> None:
        super().__init__(kind, detail, **members)
        self.status = status


class BadRequest(CallerFault):
    """A request or message that cannot be read."""

    status = 400
    title = "The request cannot be read"


class NotAllowed(CallerFault):
    """Who asks is not known (401), or may not do it (403)."""

    status = 403
    title = "Not allowed"

    def __init__(self, kind: str, detail: str, *, status: int = 403, **members: Any) -> None:
        super().__init__(kind, detail, **members)
        self.status = status
        self.title = "Not signed in" if status == 401 else self.title


class TooMany(CallerFault):
    """Asked too often; ``retry_s`` says in how many seconds to ask again."""

    status = 429
    title = "Too many attempts"

    def __init__(self, detail: str, retry_s: float) -> None:
        self.retry_s = max(1, math.ceil(retry_s))
        super().__init__("too-many-attempts", detail, retry=self.retry_s)


class VenueFault(RoomlinkError):
    """A configuration that cannot be used; ``findings`` holds every finding, each printable on one line."""

    def __init__(self, findings: list[Any]) -> None:
        super().__init__("\n".join(str(f) for f in findings))
        self.findings = findings


class BackupRefused(RoomlinkError):
    """A backup that cannot be made, or must not be restored; nothing was touched, and the message says what to do."""


class OurFault(RoomlinkError):
    """Something on our side failed; the caller may try again."""


class JournalFailed(OurFault):
    """The journal could not take an entry: nothing of it was acknowledged or shown."""


class JournalHeld(OurFault):
    """Another service holds the journal: one venue has one writer."""


class JournalDamaged(OurFault):
    """A stored journal that cannot be used as it lies; the message says what to do."""
