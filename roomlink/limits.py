"""Every bound of the service, in one place; the unit comes last in the name."""

from __future__ import annotations

# Holding: silence of the holder, in seconds, after which what it holds is let go (let go within 1 s of the last sign).
HOLD_SILENCE_S = 0.75
HOLD_SIGN_INTERVAL_S = 0.25
HELD_OVER_HTTP_S_MAX = 10.0

# Times a person may ask for.
OVER_S_MAX = 3600.0
PIN_S_MAX = 7 * 86400.0
DURATION_S_MAX = 86400.0

# Configuration.
ZONES_MAX = 20_000
PARTITIONS_MAX = 10_000
NAME_CHARS_MAX = 64
VENUE_FILE_BYTES_MAX = 16 * 1024 * 1024

# Sockets and HTTP.
MESSAGE_BYTES_MAX = 64 * 1024
BODY_BYTES_MAX = 1024 * 1024
IDEMPOTENCY_KEYS_MAX = 10_000
IDEMPOTENCY_KEY_CHARS_MAX = 200
EVENTS_PAGE_MAX = 1000
RESUME_ENTRIES_MAX = 10_000

# The diary. Recurring bookings are expanded so far ahead; each day the horizon moves on. What has long been over is
# forgotten (the journal still has it).
BOOKING_AHEAD_S = 400 * 86400.0
BOOKING_KEPT_S = 400 * 86400.0
# So much of it may pass before a booking is expanded further.
BOOKING_EXTEND_S = 30 * 86400.0
# Routines missed longer ago are not made up for.
ROUTINE_MISSED_S_MAX = 7 * 86400.0
BOOKING_S_MAX = 31 * 86400.0
SET_UP_S_MAX = 2 * 86400.0
OCCURRENCES_OF_ONE_MAX = 2000
OCCURRENCES_MAX = 100_000
BOOKING_TEXT_CHARS_MAX = 200
BOOKING_UID_CHARS_MAX = 255
# Bookings lie between 1970 and the year 9000, where every library still counts.
BOOKING_STAMP_MAX = 220_000_000_000.0
ATTENDANCE_MAX = 1_000_000
CLASHES_TOLD_MAX = 100
ALTERNATIVES_MAX = 3
ALTERNATIVE_STEP_S = 900.0
ALTERNATIVE_REACH_S = 86400.0
# A phase of a booking or a routine that comes later than this was missed, most likely while the service was away.
DIARY_LATE_S = 60.0

# Journal.
SNAPSHOT_ENTRIES = 20_000
APPEND_BATCH_ENTRIES_MAX = 500

# Two levels closer than this are the same number: it only absorbs binary rounding, it is no tolerance.
LEVEL_EPSILON = 1e-9
# Decimal places of a level or a time in seconds in views.
VIEW_DECIMALS = 4

assert HOLD_SIGN_INTERVAL_S * 2 < HOLD_SILENCE_S < 1.0, "two lost signs must not let go, and 1 s must"
assert MESSAGE_BYTES_MAX <= BODY_BYTES_MAX
