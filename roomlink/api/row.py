"""One operation of the HTTP API, as the tables of routes hold it."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import BaseModel

from roomlink.api import models
from roomlink.api.guarding import Handler
from roomlink.api.identity import Rule
from roomlink.core.access import RANK


@dataclass(frozen=True, slots=True)
class Row:
    """One operation: what it is for the router and for ``/openapi.json``."""

    method: str
    path: str
    handler: Handler
    summary: str
    body: type[BaseModel] | None = None
    writes: bool = False
    query: tuple[tuple[str, str], ...] = ()
    headers: tuple[tuple[str, str], ...] = ()
    statuses: tuple[int, ...] = ()
    media: str = "application/json"
    """What it answers with."""
    takes: str = ""
    """The media type of a body that is no ``body`` of ours."""
    done: int = 200
    """The status of an answer that is no problem."""
    gives: type[BaseModel] = models.View
    """The shape of a view, where more is known of it than that."""
    role: str | None = ""
    """The least role that may do it; None: everybody, signed in or not. Every row says so."""
    panel: bool = False
    """Whether a paired panel may, too: where the path names a controller, its own one only."""

    def __post_init__(self) -> None:
        if self.role is not None and self.role not in RANK:
            raise ValueError(f"the row {self.method} {self.path} must say its role: one of {', '.join(RANK)}, or None")

    @property
    def rule(self) -> Rule:
        return Rule(self.role, self.panel)


KEY = (("Idempotency-Key", "carries a request out once however often it is sent"),)
CONDITION = (("If-Match", "the ETag of what is replaced"), ("If-None-Match", "* to refuse replacing"))
