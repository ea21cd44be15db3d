"""What people must know of the journal: that it takes nothing just now, and what was found when it was opened.

While it fails the alarm itself cannot be stored: it is owed, and so tried again until there is room. That is how the
service comes right by itself, and the alarm is on record afterwards.
"""

from __future__ import annotations

from roomlink.core.commands import SERVICE, ReportTrouble
from roomlink.runtime.writer import Writer

FAILING, FOUND = "journal", "journal-found"
"""The alarms: it does not take entries; something was wrong with it at the last start."""
WORDS = (
    "Nothing can be stored just now, so orders are refused. Everything stays as it is; stopping and letting go still"
    " work. An engineer should look at the disk of the service; it goes on by itself once there is room."
)


class Keeping:
    """Tells everybody when the journal of ``writer`` fails, and when it takes entries again."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        writer.turned.append(self._turned)

    def begin(self) -> None:
        """An alarm stands for what was found at this start, or none. Call it once the venue is configured."""
        text = " ".join(self._writer.journal.notices)
        if text or FOUND in self._writer.state.alarms:
            self._writer.surely(ReportTrouble(SERVICE, FOUND, text))
        if FAILING in self._writer.state.alarms:
            self._writer.surely(ReportTrouble(SERVICE, FAILING))

    def _turned(self, failure: str | None) -> None:
        self._writer.hub.announce("" if failure is None else WORDS)
        if failure is not None:
            # By the time that this is stored the journal takes entries again.
            self._writer.surely(ReportTrouble(SERVICE, FAILING, failure))
        elif not self._writer.stopped:
            self._writer.surely(ReportTrouble(SERVICE, FAILING))
