"""Logging: one line an event, on standard error; JSON where no terminal reads it."""

from __future__ import annotations

import logging
import sys
from typing import Any

import structlog


def configure(level: str = "info", *, json: bool | None = None) -> None:
    """Set up structlog for the process. ``json`` None: only where standard error is no terminal."""
    as_json = not sys.stderr.isatty() if json is None else json
    renderer: Any = structlog.processors.JSONRenderer() if as_json else structlog.dev.ConsoleRenderer(pad_event_to=12)
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(logging.getLevelNamesMapping()[level.upper()]),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
