"""A device that is spoken to in lines of text: says them, waits for answers, listens, logs in, polls."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from dataclasses import dataclass

from roomlink.drivers.port import DeviceFault, Hear, PointFault, Value, WireFault
from roomlink.drivers.secret import read_secret
from roomlink.drivers.text.config import VALUE, Constants, Lines, Poll, TextConfig, TextPoint, lines_of
from roomlink.drivers.text.pattern import Pattern
from roomlink.drivers.text.transport import Transport, open_transport
from roomlink.drivers.text.wire import LineDecoder, encode

LOGIN_S_MAX = 4.0
"""Greeting and login; less than the port allows, so that the message says what was waited for."""


@dataclass(frozen=True, slots=True)
class _Answer:
    taken: bool
    found: Mapping[str, Value]
    line: str


@dataclass(frozen=True, slots=True)
class _Question:
    """What is waited for now; there is one at a time, as lines say nothing of what they answer."""

    expect: Pattern
    refused: Pattern | None
    answer: asyncio.Future[_Answer]


class TextDevice:
    """``Device`` for lines of text; ``junk`` counts received lines that meant nothing."""

    def __init__(self, config: TextConfig, points: Mapping[str, TextPoint]) -> None:
        self.rate_hz = config.rate
        self.detects_loss = config.detects_loss
        self.junk = 0
        self._config = config
        self._lines: dict[str, Lines] = {name: lines_of(config, point) for name, point in points.items()}
        self._polls = [(poll, Pattern(poll.send).write({})) for poll in config.polls]
        sends = [str(lines.send) for lines in self._lines.values() if lines.send]
        for line in [*sends, *(line for _, line in self._polls)]:
            try:
                self._encode(line)
            except WireFault as fault:
                raise ValueError(f"{line!r}: {fault}") from fault
        self._refused = Pattern(config.refused) if config.refused else None
        self._told: dict[str, tuple[Value, Value]] = {}
        """By point, what was last wanted and what of it is left in the line that was sent."""
        self._turned: set[str] = set()
        """Points that report something else since: a refresh must not turn back what somebody turned by hand."""
        self._hear: Hear = lambda _point, _value: None
        self._decoder = LineDecoder(config.ending, config.encoding)
        self._transport: Transport | None = None
        self._reading: asyncio.Task[None] | None = None
        self._question: _Question | None = None
        self._turn = asyncio.Lock()
        self._last_line = 0.0

    async def connect(self, hear: Hear) -> None:
        self._hear = hear
        self._decoder = LineDecoder(self._config.ending, self._config.encoding)
        self._told.clear()
        self._turned.clear()
        transport = self._transport = await open_transport(self._config)
        early = await self._log_in(transport)
        self._reading = asyncio.create_task(self._read(transport, early))

    async def send(self, values: Mapping[str, Value]) -> set[str]:
        return {point for point, value in values.items() if await self._send(point, value)}

    async def serve(self) -> None:
        if self._reading is None:
            raise DeviceFault("not connected")
        polls = [asyncio.create_task(self._poll(poll, line)) for poll, line in self._polls]
        if self._config.refresh_s:
            polls.append(asyncio.create_task(self._refresh(self._config.refresh_s)))
        try:
            done, _ = await asyncio.wait((self._reading, *polls), return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
        finally:
            for task in polls:
                task.cancel()
            await asyncio.gather(*polls, return_exceptions=True)

    async def close(self) -> None:
        reading, self._reading = self._reading, None
        if reading is not None:
            reading.cancel()
            await asyncio.gather(reading, return_exceptions=True)
        transport, self._transport = self._transport, None
        if transport is not None:
            await transport.close()

    # Speaking.

    async def _send(self, point: str, value: Value) -> bool:
        """Whether the device confirmed it."""
        lines = self._lines[point]
        if lines.send is None:
            raise PointFault(point, "it only reports; nothing can be sent to it")
        try:
            line = lines.send.write({VALUE: value})
            self._encode(line)
        except WireFault as fault:
            raise PointFault(point, str(fault)) from fault
        left = (lines.send.read(line) or {}).get(VALUE, value)
        self._told[point] = (value, left)
        self._turned.discard(point)
        answer = await self._ask(line, lines.expect, lines.refused)
        if answer is None:
            return False
        if not answer.taken:
            self._told.pop(point, None)
            raise PointFault(point, f"the device refuses {line!r}: {answer.line!r}")
        return answer.found.get(VALUE, left) == left

    async def _poll(self, poll: Poll, line: str) -> None:
        expect = Pattern(poll.expect) if poll.expect else None
        while True:
            # A refusal is an answer too: the device is there.
            await self._ask(line, expect, self._refused)
            await asyncio.sleep(poll.every)

    async def _refresh(self, every: float) -> None:
        """Send all again and again, as the device may have been away."""
        while True:
            await asyncio.sleep(every)
            for point in list(self._told):
                # Read anew each time: a newer value may have been sent meanwhile.
                if point in self._told and point not in self._turned:
                    with contextlib.suppress(PointFault):
                        await self._send(point, self._told[point][0])

    async def _ask(self, line: str, expect: Pattern | None, refused: Pattern | None) -> _Answer | None:
        """Say a line; None where nothing is expected. Asks twice, then raises DeviceFault."""
        async with self._turn:
            if expect is None:
                await self._say(line)
                return None
            for _ in range(2):
                answer: asyncio.Future[_Answer] = asyncio.get_running_loop().create_future()
                self._question = _Question(expect, refused, answer)
                try:
                    await self._say(line)
                    if await self._answered(answer):
                        return answer.result()
                finally:
                    self._question = None
        raise DeviceFault(f"the device does not answer {line!r}")

    async def _answered(self, answer: asyncio.Future[_Answer]) -> bool:
        if self._reading is None:
            raise DeviceFault("not connected")
        await asyncio.wait(
            (answer, self._reading), timeout=self._config.reply_timeout, return_when=asyncio.FIRST_COMPLETED
        )
        if not answer.done() and self._reading.done():
            raise DeviceFault("the connection was lost before the answer came")
        return answer.done()

    async def _say(self, line: str) -> None:
        if self._transport is None:
            raise DeviceFault("not connected")
        loop = asyncio.get_running_loop()
        if (rest := self._last_line + self._config.pace - loop.time()) > 0:
            await asyncio.sleep(rest)
        await self._transport.write(self._encode(line))
        self._last_line = loop.time()

    def _encode(self, line: str) -> bytes:
        return encode(line, self._config.encoding, self._config.ending)

    # Listening.

    async def _read(self, transport: Transport, early: list[str]) -> None:
        for line in early:
            self._heard(line)
        while True:
            for line in await self._received(transport):
                self._heard(line)

    async def _received(self, transport: Transport) -> list[str]:
        before = self._decoder.junk
        lines = self._decoder.feed(await transport.read())
        if transport.whole:
            lines += self._decoder.flush()
        self.junk += self._decoder.junk - before
        return lines

    def _heard(self, line: str) -> None:
        known = self._settled(line)
        for point, lines in self._lines.items():
            found = lines.report.read(line) if lines.report else None
            if found is not None:
                known = True
                self._hear(point, self._as_wanted(point, found[VALUE]))
        if not known:
            self.junk += 1

    def _settled(self, line: str) -> bool:
        """Whether the line answers what was asked."""
        question = self._question
        if question is None or question.answer.done():
            return False
        if (found := question.expect.read(line)) is not None:
            question.answer.set_result(_Answer(True, found, line))
        elif question.refused and (found := question.refused.read(line)) is not None:
            question.answer.set_result(_Answer(False, found, line))
        return question.answer.done()

    def _as_wanted(self, point: str, value: Value) -> Value:
        """The line may carry fewer decimals than were wanted: what it could carry is what was wanted."""
        if point not in self._told:
            return value
        wanted, left = self._told[point]
        if value != left:
            self._turned.add(point)
            return value
        self._turned.discard(point)
        return wanted

    # Logging in.

    async def _log_in(self, transport: Transport) -> list[str]:
        """Greeting and login; returns the lines that came behind them."""
        lines: list[str] = []
        config = self._config
        steps = [(config.greeting, None)] + [(step.expect, step.send) for step in config.login]
        words = self._words()
        for expect, send in steps:
            if expect is not None:
                try:
                    async with asyncio.timeout(LOGIN_S_MAX / len(steps)):
                        await self._await(transport, Pattern(expect), lines)
                except TimeoutError:
                    raise DeviceFault(f"the device does not send {expect!r}") from None
            if send is not None:
                try:
                    await self._say(Pattern(send, words).write({}))
                except (WireFault, ValueError):
                    # Not its cause: that may show what is secret.
                    raise DeviceFault(f"the user or the password cannot be sent in {config.encoding}") from None
        return lines

    def _words(self) -> Constants:
        words: Constants = {}
        if self._config.user is not None:
            words["user"] = self._config.user
        if self._config.password_file is not None:
            words["password"] = read_secret(self._config.password_file)
        return words

    async def _await(self, transport: Transport, expect: Pattern, lines: list[str]) -> None:
        """Read until a line, or the prompt that has begun, is what is expected; all before it is let go."""
        while True:
            while lines:
                if expect.read(lines.pop(0)) is not None:
                    return
            if expect.read(self._decoder.prompt()) is not None:
                self._decoder.flush()
                return
            lines += await self._received(transport)
