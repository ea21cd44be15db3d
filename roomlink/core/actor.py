"""Who acts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Actor:
    """``who`` acts, ``via`` what. ``holder`` names the socket that can show that a finger is still there."""

    who: str
    via: str = "http"
    holder: str | None = None
    where: str = ""
    """The address that it came from; empty for what the service does by itself."""
    request: str = ""
    """What another node asked with, so that it knows its command in the journal; empty for all others."""


CLOCK = Actor("service", "clock")
SERVICE = Actor("service", "service")
