"""Group commit: one worker thread writes to the journal, and whoever waits shares the flush of the disk.

    runtime thread                              worker thread
    submit(entry, done) ──▶ jobs, in order ──▶  append(all that wait, as one batch)
    done(None | error)  ◀── deliver ◀────────── the answers, in order

What the caller must do next:

- Submit entries in order of ``seq``, each decided on the state after the one before. Show nothing of an entry, and
  let no device act on it, before its ``done(None)``.
- At the first ``done(JournalFailed)`` all entries submitted so far are lost, also those not yet answered: the caller
  folds its state again from the last entry that was answered with None, calls ``resume()``, and goes on from there
  with the ``seq`` after that entry. Until ``resume()`` every entry is refused.
- The answers to the other lost entries follow. They need no second ``resume()``: it would let an entry pass that was
  decided on a lost one. So remember with each entry how many times the state had been folded when it was submitted,
  and fold again only for a failure of the present count.
- Call ``stop()`` at the end, before closing the journal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from functools import partial
from queue import Empty, SimpleQueue
from threading import Thread

from roomlink.core.events import Entry
from roomlink.errors import JournalFailed
from roomlink.journal.port import Journal, Snapshot
from roomlink.limits import APPEND_BATCH_ENTRIES_MAX

Done = Callable[[Exception | None], None]
"""Called once with None (it is durable) or with the reason why nothing of it is kept. Must not raise."""
Deliver = Callable[[Callable[[], None]], object]
"""Runs a function where the answers belong, in order: an event loop's ``call_soon_threadsafe``."""


@dataclass(frozen=True, slots=True)
class _Append:
    entry: Entry
    done: Done


@dataclass(frozen=True, slots=True)
class _Save:
    make: Callable[[], Snapshot]
    done: Done


@dataclass(frozen=True, slots=True)
class _Chore:
    run: Callable[[], object]
    done: Done


class _Mark(Enum):
    RESUME = "resume"
    STOP = "stop"


_Job = _Append | _Save | _Chore | _Mark


class Committer:
    """Writes entries and snapshots to ``journal``; ``start`` to ``stop`` it is the only one that does.

    The journal may be read by others meanwhile. When nothing waits, an entry is written at once.
    """

    def __init__(self, journal: Journal, deliver: Deliver) -> None:
        self._journal = journal
        self._deliver = deliver
        self._jobs: SimpleQueue[_Job] = SimpleQueue()
        # A daemon, so that a service that dies without ``stop`` does not hang: what is lost then was not acknowledged.
        self._thread = Thread(target=self._run, name="journal", daemon=True)
        self._stopped = False
        self._halted: Exception | None = None

    def start(self) -> None:
        """Begin to write. Once only."""
        self._thread.start()

    def submit(self, entry: Entry, done: Done) -> None:
        """Queue ``entry``; returns at once. ``done`` is delivered when it is durable or lost.

        Raises RuntimeError after ``stop``.
        """
        self._put(_Append(entry, done))

    def submit_snapshot(self, make: Callable[[], Snapshot], done: Done) -> None:
        """Queue a snapshot; entries wait while it is made and written.

        ``make`` runs in the worker thread after the entries submitted before it were tried: give it a copy of the
        durable state that nobody changes, and the ``seq`` of that. A failure costs nothing but the snapshot.
        Raises RuntimeError after ``stop``.
        """
        self._put(_Save(make, done))

    def submit_chore(self, run: Callable[[], object], done: Done) -> None:
        """Queue work on the journal that is not urgent and takes a few milliseconds; entries wait while it runs.

        Raises RuntimeError after ``stop``.
        """
        self._put(_Chore(run, done))

    def resume(self) -> None:
        """The caller has folded its state again: entries submitted from now on are written."""
        self._put(_Mark.RESUME)

    def stop(self, within_s: float | None = None) -> bool:
        """Write everything that waits, deliver its answers, end the thread. Blocks until then; again does nothing.

        Gives False if a disk that hangs kept it for longer than ``within_s``: leave the journal open then.
        """
        if not self._stopped:
            self._stopped = True
            self._jobs.put(_Mark.STOP)
        if self._thread.ident is not None:
            self._thread.join(within_s)
        return not self._thread.is_alive()

    def _put(self, job: _Job) -> None:
        if self._stopped:
            raise RuntimeError("the committer has been stopped and takes nothing any more")
        self._jobs.put(job)

    def _run(self) -> None:
        while self._round():
            pass

    def _round(self) -> bool:
        """Wait for work and do it; False once that was to stop."""
        batch, job = self._next()
        if batch:
            self._commit(batch)
        if job is _Mark.RESUME:
            self._halted = None
        elif isinstance(job, _Save):
            self._save(job)
        elif isinstance(job, _Chore):
            self._do(job)
        return job is not _Mark.STOP

    def _next(self) -> tuple[list[_Append], _Job | None]:
        """Wait for something; then all appends that wait, and the job of another kind that ended them."""
        batch: list[_Append] = []
        job: _Job = self._jobs.get()
        while isinstance(job, _Append):
            batch.append(job)
            if len(batch) == APPEND_BATCH_ENTRIES_MAX:
                return batch, None
            try:
                job = self._jobs.get_nowait()
            except Empty:
                return batch, None
        return batch, job

    def _commit(self, batch: list[_Append]) -> None:
        error: Exception | None = None
        if self._halted is not None:
            error = JournalFailed("an entry before this one could not be stored, so this one was not tried")
            error.__cause__ = self._halted
        else:
            try:
                self._journal.append([waiting.entry for waiting in batch])
            except Exception as cause:  # also an error in the code: the thread must live to answer
                error = self._halted = _failure(cause)
        self._answer([waiting.done for waiting in batch], error)

    def _save(self, job: _Save) -> None:
        error = None
        try:
            self._journal.save(job.make())
        except Exception as cause:  # as above
            error = _failure(cause)
        self._answer([job.done], error)

    def _do(self, job: _Chore) -> None:
        error = None
        try:
            job.run()
        except Exception as cause:  # as above
            error = _failure(cause)
        self._answer([job.done], error)

    def _answer(self, waiting: list[Done], error: Exception | None) -> None:
        try:
            self._deliver(partial(_tell, waiting, error))
        except RuntimeError:
            # The event loop is closed: nobody waits for answers any more, but what was submitted is still written.
            return


def _tell(waiting: list[Done], error: Exception | None) -> None:
    # One delivery for the whole batch: waking an event loop costs more than all the answers.
    bugs = []
    for done in waiting:
        try:
            done(error)
        except Exception as bug:  # the others must not go unanswered for it
            bugs.append(bug)
    if bugs:
        raise ExceptionGroup("answers from the journal were not taken", bugs)


def _failure(cause: Exception) -> JournalFailed:
    if isinstance(cause, JournalFailed):
        return cause
    error = JournalFailed(f"the entry could not be stored: {cause}")
    error.__cause__ = cause
    return error
