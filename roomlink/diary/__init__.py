"""The diary around the core: what recurs, turns, calendars in and out, and what is told to others."""
