"""What a venue writes for a device that is spoken to in lines of text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from roomlink.drivers.durations import Duration, LastingDuration, Strict, wrong
from roomlink.drivers.text.pattern import Pattern

Constants = dict[str, str | int | float]

VALUE = "value"
REFRESH_S = 5.0


def _ending(value: str) -> str:
    if len(value) > 4 or not value.isascii():
        raise wrong(f"{value!r} is no line ending", r'write one such as "\r", "\n", "\r\n" or ";"')
    return value


class Step(Strict):
    """One step of logging in."""

    expect: str | None = Field(None, description="the line or the prompt to wait for before it")
    send: str | None = Field(None, description="the line to send; {user} and {password} stand for themselves")


class Poll(Strict):
    """A line that is sent again and again."""

    send: str = Field(description="the line to send")
    every: LastingDuration = Field(description="how often")
    expect: str | None = Field(None, description="the answer; a device that does not give it counts as gone")


class Command(Strict):
    """The lines of one point: how it is driven, what is answered, how it reports."""

    send: str | None = Field(None, description="the line that drives it, with {value:...} in it")
    expect: str | None = Field(None, description="the answer that confirms it")
    refused: str | None = Field(None, description="the answer that refuses it; the device's if not given")
    report: str | None = Field(None, description="the line by which the device reports it, with {value:...} in it")


class TextPoint(Command):
    """A point: its own lines, or a command of the device; and what its constants are."""

    command: str | None = Field(None, description="one of the device's commands, instead of lines of its own")
    constants: Constants = Field(
        default_factory=dict, alias="with", description="the values of places without a type, such as {zone: 3}"
    )

    @model_validator(mode="after")
    def _sound(self) -> Self:
        own = any((self.send, self.expect, self.refused, self.report))
        if own == (self.command is not None):
            raise wrong("a point has lines of its own, or a command of the device", "write send, report or command")
        if own:
            Lines.of(self, self.constants, None)
        return self


class TextConfig(Strict):
    """How a device is reached, and what is common to its lines."""

    transport: Literal["tcp", "udp", "serial"] = Field("tcp", description="tcp, udp or serial")
    host: str | None = Field(None, description="the device's address, for tcp and udp")
    port: Annotated[int, Field(ge=1, le=65535)] | None = Field(None, description="the device's port, for tcp and udp")
    path: str | None = Field(None, description="the serial port, such as /dev/ttyUSB0")
    baud: int = Field(9600, ge=50, le=4_000_000, description="bits a second of the serial port")
    parity: Literal["none", "even", "odd"] = Field("none", description="none, even or odd")
    stop_bits: Literal[1, 2] = Field(1, description="1 or 2")
    ending: Annotated[str, AfterValidator(_ending)] = Field("\r\n", description="what ends a line")
    encoding: Literal["ascii", "utf-8"] = Field("ascii", description="ascii or utf-8")
    greeting: str | None = Field(None, description="the line that the device sends when it is ready")
    login: list[Step] = Field(default_factory=list, max_length=8, description="what to send first, and after what")
    user: str | None = Field(None, description="what {user} is in login")
    password_file: str | None = Field(None, description="the file that holds what {password} is in login")
    pace: Duration = Field(0.05, description="the least time between two lines", json_schema_extra={"default": "50ms"})
    reply_timeout: LastingDuration = Field(
        1.0, description="how long to wait for an answer", json_schema_extra={"default": "1s"}
    )
    rate: float = Field(10.0, gt=0, le=50, description="how often a second values are sent at most")
    refresh: Duration | None = Field(
        None, description="how often all is sent again, 0s for never; 5s where nothing tells that the device was away"
    )
    refused: str | None = Field(None, description="the answer that refuses any command")
    polls: list[Poll] = Field(default_factory=list, max_length=64, description="lines to send again and again")
    commands: dict[str, Command] = Field(default_factory=dict, description="lines that several points share, by name")

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if self.transport == "serial":
            if not self.path or self.host or self.port:
                raise wrong("a serial device has a path, no host and no port", "write path: /dev/ttyUSB0")
        elif not self.host or not self.port or self.path:
            raise wrong(f"a {self.transport} device has a host and a port, and no path", "write host: and port:")
        if not self.ending and self.transport != "udp":
            raise wrong("only over udp may a line have no ending", r'write ending: "\r\n"')
        for name, text in self._own():
            _compiled(name, text, {}, frozenset())
        for poll in self.polls:
            _compiled("polls", poll.send, {}, frozenset(), only=True)
        words = {"user": self.user, "password": self.password_file}
        given: Constants = {name: "" for name, value in words.items() if value is not None}
        for step in self.login:
            if step.send is not None:
                _compiled("login", step.send, given, frozenset(), only=True)
        return self

    @property
    def detects_loss(self) -> bool:
        """Over UDP or a serial cable, only a question without an answer tells."""
        return self.transport == "tcp" or any(poll.expect for poll in self.polls)

    @property
    def refresh_s(self) -> float:
        """Seconds between refreshes; 0 for none."""
        return self.refresh if self.refresh is not None else 0.0 if self.detects_loss else REFRESH_S

    def _own(self) -> list[tuple[str, str]]:
        """The device's own lines that have no constants."""
        lines = [("greeting", self.greeting), ("refused", self.refused)]
        lines += [("login", step.expect) for step in self.login]
        lines += [("polls", poll.expect) for poll in self.polls]
        return [(name, text) for name, text in lines if text is not None]


class Lines:
    """The compiled patterns of one point."""

    def __init__(self, send: Pattern | None, expect: Pattern | None, refused: Pattern | None, report: Pattern | None):
        self.send, self.expect, self.refused, self.report = send, expect, refused, report

    @classmethod
    def of(cls, command: Command, constants: Mapping[str, str | int | float], refused: str | None) -> Lines:
        """Compile; ``refused`` is the device's own. Raises a finding for what makes no sense."""
        return cls(
            _compiled("send", command.send, constants, frozenset({VALUE}), only=True),
            _compiled("expect", command.expect, constants, frozenset()),
            _compiled("refused", command.refused or refused, constants if command.refused else {}, frozenset()),
            _compiled("report", command.report, constants, frozenset({VALUE})),
        )


def lines_of(config: TextConfig, point: TextPoint) -> Lines:
    """The patterns of a point, its own or the device's; raises ValueError."""
    if point.command is None:
        return Lines.of(point, point.constants, config.refused)
    command = config.commands.get(point.command)
    if command is None:
        raise ValueError(
            f"the device has no command {point.command!r}; there is {', '.join(config.commands) or 'none'}"
        )
    return Lines.of(command, point.constants, config.refused)


def _compiled(
    key: str,
    text: str | None,
    constants: Mapping[str, str | int | float],
    wanted: frozenset[str],
    *,
    only: bool = False,
) -> Pattern | None:
    """A pattern with the ``wanted`` places, and with ``only`` them."""
    if text is None:
        return None
    try:
        pattern = Pattern(text, constants)
    except ValueError as error:
        raise wrong(f"{key}: {error}") from None
    missing = wanted - set(pattern.names)
    if missing:
        # A line that is the same for every value would toggle or step: sending it again would do harm.
        raise wrong(f"{key}: {text!r} has no {{value}}", "write where the value stands, such as {value:number}")
    extra = set(pattern.names) - wanted
    if only and extra:
        raise wrong(f"{key}: nothing is known for {', '.join(sorted(extra))}", "write its value in with:")
    return pattern
