"""What a venue writes for a device that is called over HTTP."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self
from urllib.parse import urlsplit

import orjson
from pydantic import AfterValidator, Field, model_validator

from roomlink.drivers.durations import LastingDuration, Strict, wrong
from roomlink.drivers.http.wire import BODY_BYTES_MAX, MARK

PATH_CHARS_MAX = 2000
SECRET_HEADERS = ("authorization", "proxy-authorization", "cookie")
OWN_HEADERS = ("host", "content-length", "content-type", "transfer-encoding", "connection", "accept-encoding")
_TOKEN = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]{1,100}")


def _base(value: str) -> str:
    try:
        parts = urlsplit(value)
        sound = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port is None or parts.port > 0)
    except ValueError:
        sound = False
    if not sound or parts.query or parts.fragment or not value.isascii() or not value.isprintable() or " " in value:
        raise wrong(f"{value[:60]!r} is no address", "write one such as http://10.0.0.5:8080/api")
    if parts.username is not None or parts.password is not None:
        raise wrong(
            "a user and a password do not belong into an address", "write secret_headers: {Authorization: file}"
        )
    return value.rstrip("/")


def _path(value: str) -> str:
    rest = value.replace(MARK, "")
    if not value.startswith("/") or len(value) > PATH_CHARS_MAX or re.search(r"[^!-~]|[#{}<>\"\\^`|]", rest):
        raise wrong(f"{value[:60]!r} is no path", "write one such as /zones/3/volume, with special characters as %20")
    return value


def _fixed(value: str) -> str:
    if MARK in _path(value):
        raise wrong(f"{value[:60]!r}: there is no {MARK} when a report is read", "leave it out")
    return value


def _headers(value: dict[str, str]) -> dict[str, str]:
    for name, text in value.items():
        if not _TOKEN.fullmatch(name) or name.lower() in OWN_HEADERS:
            raise wrong(f"{name!r} cannot be set here", "leave it out")
        if not text.isascii() or not text.isprintable():
            raise wrong(f"what is written for {name!r} holds characters that a header cannot", "use plain ASCII")
    return value


def _open_headers(value: dict[str, str]) -> dict[str, str]:
    for name in value:
        if name.lower() in SECRET_HEADERS:
            raise wrong(f"{name} is a secret", f"write secret_headers: {{{name}: the file that holds it}}")
    return _headers(value)


class HttpConfig(Strict):
    """Where the device is, and what every request to it has."""

    base: Annotated[str, AfterValidator(_base)] = Field(description="its address, such as http://10.0.0.5:8080/api")
    headers: Annotated[dict[str, str], AfterValidator(_open_headers)] = Field(
        default_factory=dict, max_length=32, description="headers of every request"
    )
    secret_headers: Annotated[dict[str, str], AfterValidator(_headers)] = Field(
        default_factory=dict, max_length=8, description="headers whose values stand in files, by the files' paths"
    )
    ca_file: str | None = Field(None, description="the certificates to trust instead of the system's, for https")
    timeout: LastingDuration = Field(
        2.0, le=5, description="how long an answer may take", json_schema_extra={"default": "2s"}
    )
    poll: LastingDuration = Field(
        5.0, description="how often reports are read, or the device is looked for", json_schema_extra={"default": "5s"}
    )
    rate: float = Field(5.0, gt=0, le=20, description="how often a second values are sent at most")


class Report(Strict):
    """Where a point's present value is read."""

    path: Annotated[str, AfterValidator(_fixed)] = Field(description="what to GET; begins with /")
    member: str = Field(
        "",
        max_length=200,
        description="the way to the value in the JSON answer, such as zones.0.volume; all if not given",
    )
    every: LastingDuration | None = Field(None, description="how often; the device's poll if not given")

    @property
    def way(self) -> tuple[str, ...]:
        return tuple(self.member.split(".")) if self.member else ()


class HttpPoint(Strict):
    """One value of the device: the request that sets it, and where it is read."""

    method: Literal["PUT", "POST", "PATCH", "GET"] = Field("PUT", description="PUT, POST, PATCH or GET")
    path: Annotated[str, AfterValidator(_path)] | None = Field(
        None, description="what to call to set it; begins with /, and may have {value} in it"
    )
    body: Any = Field(None, description='the JSON to send, with "{value}" where the value stands')
    report: Report | None = Field(None, description="where it is read")

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if self.path is None and self.report is None:
            raise wrong("a point is set, or read, or both", "write path:, report: or both")
        text = self.body_text
        if len(text) > BODY_BYTES_MAX:
            raise wrong(f"the body has more than {BODY_BYTES_MAX} bytes", "write a shorter one")
        if self.path is None and text:
            raise wrong("a body without a path is sent nowhere", "write path:")
        if self.method == "GET" and text:
            raise wrong("a GET has no body", "write {value} into the path, or another method")
        if self.path is not None and MARK not in self.path + text:
            # A request that is the same for every value would toggle or step: sending it again would do harm.
            raise wrong(
                f"neither path nor body has {MARK}", 'write where the value stands, such as body: {level: "{value}"}'
            )
        return self

    @property
    def body_text(self) -> str:
        """The template of the body as JSON text; empty where there is none."""
        if self.body is None:
            return ""
        try:
            return orjson.dumps(self.body).decode()
        except orjson.JSONEncodeError as error:
            raise wrong(
                f"the body cannot be written as JSON: {error}", "use texts, numbers, lists and mappings"
            ) from None


def point_name(_config: HttpConfig, point: HttpPoint) -> str:
    """The request, with its body where it has one: ``PUT /zones/3 {"volume":"{value}"}``."""
    if point.path is not None:
        return f"{point.method} {point.path} {point.body_text}".rstrip()
    assert point.report is not None
    return f"GET {point.report.path} {point.report.member}".rstrip()
