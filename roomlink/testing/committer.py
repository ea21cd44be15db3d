"""The journal's group commit without its thread: each round is a plain call, made when a simulation says so."""

from __future__ import annotations

from roomlink.core.events import Entry
from roomlink.journal.committer import Committer, _Append


class StepCommitter(Committer):
    """``Committer`` whose worker is whoever calls ``step``."""

    def start(self) -> None:
        """Nothing runs by itself."""

    def stop(self, within_s: float | None = None) -> bool:
        super().stop(within_s)
        while self.step():
            pass
        return True

    def step(self) -> bool:
        """Do what waits up to the end of one batch, or the next other job; says whether anything waited."""
        if self._jobs.empty():
            return False
        self._round()
        return True

    def unwritten(self) -> list[Entry]:
        """What a crash finds on its way to the disk, in order; nothing is written any more."""
        found = []
        while not self._jobs.empty():
            job = self._jobs.get()
            # Behind a failure nothing is written before the caller has folded again.
            if isinstance(job, _Append) and self._halted is None:
                found.append(job.entry)
            elif not isinstance(job, _Append):
                self._halted = None
        return found
