"""Every bound of the service, in one place; the unit comes last in the name."""

from __future__ import annotations

# Holding: silence of the holder, in seconds, after which what it holds is let go (let go within 1 s of the last sign).
HOLD_SILENCE_S = 0.75
HOLD_SIGN_INTERVAL_S = 0.25
HELD_OVER_HTTP_S_MAX = 10.0

# Times a person may ask for.
OVER_S_MAX = 3600.0
PIN_S_MAX = 7 * 86400.0
# A zone that is used by hand is put down as used so often at most.
USED_EVERY_S = 1.0
DURATION_S_MAX = 86400.0

# Locks set by hand: how long one lasts that ends by itself, and how many there are. A PIN has so many digits.
LOCK_S_MAX = 31 * 86400.0
LOCKS_MAX = 200
LOCK_WHY_CHARS_MAX = 200
PIN_DIGITS_MIN, PIN_DIGITS_MAX = 4, 12
# A lead whose panel has been gone for so long hands the lead over; the same counts from a start on.
LEAD_GONE_S = 30.0

# Stations. What is told so soon after their device was connected is how keys stand, no press. A press that is never
# told to be over is let go after so long.
STATION_FIRST_WORD_S = 1.0
STATION_HELD_S_MAX = 60.0
STATION_DEBOUNCE_S = 0.03
STATION_DEBOUNCE_S_MAX = 1.0

# Configuration.
ZONES_MAX = 20_000
PARTITIONS_MAX = 10_000
NAME_CHARS_MAX = 64
VENUE_FILE_BYTES_MAX = 16 * 1024 * 1024

# Sockets and HTTP.
MESSAGE_BYTES_MAX = 64 * 1024
# What the kernel holds for a slow peer (Linux doubles it for its own bookkeeping): of itself it would take 4 MB for
# each of those who do not read, and writing them costs the others their time.
SEND_BUFFER_BYTES = 64 * 1024
BODY_BYTES_MAX = 1024 * 1024
# A request must have come whole so long after its connection was opened, or after its first byte; an answer that
# is not being read is given up after so long. Of those that have not come whole the oldest makes room for a newer.
REQUEST_S = 20.0
UNREAD_S = 30.0
UNFINISHED_REQUESTS_MAX = 4096
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
# Paging ends by itself after so long at the most.
PAGING_S_MAX = 600.0
# Guests that are on may have their zones longer by so much at once.
PROLONG_S_MAX = 4 * 3600.0
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

# Turns. A wall of which nothing is said takes so long to move. A search for a schedule takes so many steps at
# most, and is not begun for more moves; later starts are tried in these steps, so far. Ticks are kept for so long
# after their move was due.
MOVE_MINUTES = 15.0
TURN_STEPS_MAX = 5000
TURN_JOBS_MAX = 200
TURN_LATER_STEP_S = 300.0
TURN_LATER_S_MAX = 4 * 3600.0
TURN_PROBLEMS_MAX = 5
# Of a series, dates that crews cannot make are left out so many times over; then all of it is refused.
TURN_ROUNDS_MAX = 4
TICK_KEPT_S = 2 * 86400.0
TICK_NOTE_CHARS_MAX = 200
WALL_MARK_CHARS_MAX = 200

# Who may come in. A session ends so long after its last use, and so long after it began. A use is written down only
# once it prolongs the session by so much; one of a panel or an integration so often.
SESSION_IDLE_S = 12 * 3600.0
SESSION_S_MAX = 7 * 86400.0
SESSION_USE_S = 3600.0
SESSIONS_OF_ONE_MAX = 20
KEY_USE_S = 86400.0
KEY_DAYS_MAX = 3650
PEOPLE_MAX = 1000
KEYS_MAX = 2000
PASSWORD_CHARS_MIN = 12
PASSWORD_CHARS_MAX = 200
PAIRING_S = 600.0
PAIRING_CODES_MAX = 100
# Hashing a password takes 19 MiB and some 30 ms of a processor: so many at once, so many that wait.
HASHES_AT_ONCE = 2
HASHES_WAITING_MAX = 20
# So many wrong tries are free; each further one costs twice the wait of the one before, up to a bound.
TRIES_FREE = 5
TRY_WAIT_S = 1.0
TRY_WAIT_NAME_S_MAX = 60.0
TRY_WAIT_ADDRESS_S_MAX = 900.0
TRY_WAIT_CODES_S_MAX = 10.0
TRIES_FORGOTTEN_S = 3600.0
TRIES_KEPT_MAX = 10_000
# So many refusals an hour go into the journal one by one; the rest are counted.
REFUSALS_TOLD_HOURLY_MAX = 60

# Alarms. One that is raised more often than so many times in so many seconds chatters: it is held standing until it has
# kept still for so long. More than so many raised in so many seconds are a flood [second-hand, of ISA-18.2].
ALARM_CHATTER_TIMES = 5
ALARM_CHATTER_S = 600.0
ALARM_QUIET_S = 600.0
ALARM_FLOOD = 10
ALARM_FLOOD_S = 600.0
ALARM_SHELVE_S_MIN = 60.0
ALARM_SHELVE_S_MAX = 7 * 86400.0
ALARM_WHY_CHARS_MAX = 200
ALARMS_TOLD_MAX = 100

# What goes towards safe is acted on at once; who asked over HTTP is told after so long that the journal has it not yet.
SAFE_ANSWER_S = 3.0

# The event loop: how often its lag is measured, above which it is slow, and for how long until that is an alarm.
LAG_SAMPLE_S = 0.25
LAG_S_MAX = 0.2
LAG_FOR_S = 10.0

# The clock of the machine: how often it is compared with what the service goes by, and how far it may be from that.
CLOCK_LOOK_S = 30.0
CLOCK_OFF_S_MAX = 5.0

# Journal.
SNAPSHOT_ENTRIES = 20_000
APPEND_BATCH_ENTRIES_MAX = 500
# Old level chatter is made small in steps of so many entries, with so much time for others in between.
COMPACT_ENTRIES_MAX = 100
COMPACT_PAUSE_S = 0.02
JOURNAL_KEEP_DAYS_MIN = 1
JOURNAL_KEEP_DAYS_MAX = 36500

# Two levels closer than this are the same number: it only absorbs binary rounding, it is no tolerance.
LEVEL_EPSILON = 1e-9
# Decimal places of a level or a time in seconds in views.
VIEW_DECIMALS = 4

assert HOLD_SIGN_INTERVAL_S * 2 < HOLD_SILENCE_S < 1.0, "two lost signs must not let go, and 1 s must"
assert MESSAGE_BYTES_MAX <= BODY_BYTES_MAX
assert SESSION_USE_S < SESSION_IDLE_S < SESSION_S_MAX, "a session in use must not end for lack of it"
