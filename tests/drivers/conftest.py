"""For all tests of drivers: how long an example of Hypothesis takes says nothing on a busy machine."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("roomlink", deadline=None)
settings.load_profile("roomlink")
