"""A day of the venue as a drawing: zones by hours, what is booked, and the walls that people move in between.

Pure: state, day and time in, SVG 1.1 text out. Colours stand as presentation attributes, so that the drawing is whole
without its stylesheet; ``/web/styles/day.css`` is for looking at it on paper. What stands in the drawing also stands in
words: each bar and mark has a title. What is private is drawn without its title and people.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from xml.sax.saxutils import quoteattr
from zoneinfo import ZoneInfo

from roomlink.core import diary_view
from roomlink.core.bookings import Occurrence
from roomlink.core.clashes import between
from roomlink.core.instants import of_day
from roomlink.core.state import State
from roomlink.diary.drawn_words import CHAR, fitted, plain, text, wrapped

Data = Mapping[str, Any]

WIDTH, LEFT, RIGHT = 1400.0, 170.0, 1380.0
HEAD, ROW, WALL_ROW, FOOT = 150.0, 70.0, 52.0, 48.0
LEGIBLE = 120.0
"""Below this width the words of a bar go beyond it."""
FONT = "Optima, Candara, 'Gill Sans Nova', 'Noto Sans', 'Liberation Sans', sans-serif"
CAUTION = "Walls are moved by trained people in view of the wall only, and never by this software."


@dataclass(frozen=True, slots=True)
class _Day:
    """A local day as half-open time: 23 or 25 hours long where the clocks change in it."""

    day: date
    zone: ZoneInfo
    start: float
    end: float

    def x(self, stamp: float) -> float:
        """Where a time stands, within the day."""
        inside = min(max(stamp, self.start), self.end)
        return LEFT + (RIGHT - LEFT) * (inside - self.start) / (self.end - self.start)

    def local(self, stamp: float) -> datetime:
        return datetime.fromtimestamp(stamp, self.zone)

    def clock(self, stamp: float) -> str:
        """Hours and minutes; with the day where it is another one."""
        there = self.local(stamp)
        other = "" if there.date() == self.day or stamp == self.end else f" ({there.day} {there:%b})"
        return ("24:00" if stamp == self.end else f"{there:%H:%M}") + other

    def hours(self) -> Iterator[tuple[float, str]]:
        """Each full local hour with its words; the first after a change of the clocks says its zone."""
        before = self.local(self.start).utcoffset()
        stamp = self.start
        # Half hours are looked at, as clocks may change by half an hour.
        while stamp < self.end:
            there = self.local(stamp)
            if there.minute == 0 and there.second == 0:
                yield stamp, f"{there:%H}" + ("" if there.utcoffset() == before else f" {there:%Z}")
                before = there.utcoffset()
            stamp += 1800.0


@dataclass(frozen=True, slots=True)
class _Bar:
    """A run of neighbouring rows of one booking. ``room``: the x up to which its words may go."""

    booking: str
    one: Occurrence
    first: int
    last: int
    room: float


def chart(state: State, day: date, now: float, turns: Data | None = None) -> str:
    """The drawing. ``turns`` is the day's turn list as ``GET /turns`` tells it; without it walls are left out."""
    place = state.spec.data["venue"]
    zone, number = place["timezone"], day.toordinal()
    of = _Day(day, ZoneInfo(zone), of_day(zone, number), of_day(zone, number + 1))
    zones = list(state.spec.zones)
    found = between(state, of.start, of.end)
    bars = list(_bars(of, zones, found))
    moves = _by_wall(turns)
    troubles = [_capital(problem["text"]) for problem in (turns or {}).get("problems", ())][:3]
    top = HEAD + (26.0 * len(troubles) + 14.0 if troubles else 0.0)
    floor = top + ROW * len(zones)
    height = floor + (44.0 + WALL_ROW * len(moves) if moves else 0.0) + FOOT
    named = f"{day:%A} {day.day} {day:%B} {day.year}"
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n<?xml-stylesheet href="/web/styles/day.css" type="text/css"?>\n',
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" width="{WIDTH:.0f}" '
        f'height="{height:.0f}" role="graphics-document document" aria-labelledby="title desc" font-size="16" '
        f'fill="#f3ece0" font-family={quoteattr(FONT)}>',
        f'<title id="title">{text(place["name"])}, {named}</title>',
        f'<desc id="desc">{text(_summary(state, of, found, moves))}</desc>',
        _PATTERNS,
        f'<rect class="ground" width="{WIDTH:.0f}" height="{height:.0f}" fill="#14110e"/>',
        *_head(place["name"], of, named, troubles),
        *_grid(state, of, zones, top, floor, height - FOOT),
        *_shapes(state, of, bars, top),
        *_now(of, now, top, height - FOOT),
        *_labels(state, of, bars, top),
        *_walls(state, of, moves, floor + 44.0),
        f'<text class="faint" x="20" y="{height - 16:.0f}" fill="#b9ae9e">{CAUTION} Not a safety function. '
        "Hard-wired protection, local codes and licensed practice come first.</text></svg>\n",
    ]
    return "".join(parts)


_PATTERNS = (
    '<defs><pattern id="set-up" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="hatch" d="M0 0V9" stroke="#e9c98f" stroke-width="5"/></pattern>'
    '<pattern id="clear-down" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<circle class="dot" cx="3" cy="3" r="1.7" fill="#e9c98f"/></pattern></defs>'
)


def _head(venue: str, of: _Day, named: str, troubles: Sequence[str]) -> Iterator[str]:
    yield f'<text x="20" y="46" font-size="32" font-weight="300">{named}</text>'
    length = (of.end - of.start) / 3600.0
    change = "" if length == 24.0 else f". The clocks change: {length:g} hours"
    yield f'<text class="faint" x="20" y="74" fill="#b9ae9e">{text(venue)}, times of {of.zone.key}{change}</text>'
    before, after = of.day - timedelta(days=1), of.day + timedelta(days=1)
    links = (
        (f"/day?day={before}", "Day before"), (f"/day?day={after}", "Day after"), ("/day", "Today"),
        (f"/crew?day={of.day}", "The crew\N{RIGHT SINGLE QUOTATION MARK}s page"), ("/", "Panels"),
    )  # fmt: skip
    x = RIGHT - 700.0
    for href, words in links:
        yield (
            f'<a href="{href}"><rect class="key" x="{x:.0f}" y="14" width="132" height="52" fill="none" '
            f'stroke="#8f867a"/><text x="{x + 66:.0f}" y="46" text-anchor="middle">{words}</text></a>'
        )
        x += 142.0
    legend = ((20.0, "url(#set-up)", "set-up"), (130.0, "#3b3022", "booked"), (240.0, "url(#clear-down)", "clear-down"))
    for x, fill, words in legend:
        yield f'<rect class="body of" x="{x:.0f}" y="92" width="26" height="18" fill="{fill}" stroke="#f4e2bd"/>'
        yield f'<text class="faint" x="{x + 34:.0f}" y="107" fill="#b9ae9e">{words}</text>'
    words = "dashed: tentative; one frame over several rooms: one room"
    yield f'<text class="faint" x="372" y="107" fill="#b9ae9e">{words}</text>'
    for line, trouble in enumerate(troubles):
        y = 138.0 + 26.0 * line
        words = fitted(f"Cannot be done as it stands: {trouble}", WIDTH - 60.0, 17.0)
        sign = "\N{WHITE UP-POINTING TRIANGLE}"
        yield f'<text class="trouble" x="20" y="{y:.0f}" font-size="17" fill="#ffd23f">{sign} {text(words)}</text>'


def _grid(state: State, of: _Day, zones: Sequence[str], top: float, floor: float, low: float) -> Iterator[str]:
    yield '<g class="line" stroke="#5b534a" stroke-width="1">'
    for row in range(len(zones) + 1):
        yield f'<path d="M20 {top + ROW * row:.0f}H{RIGHT:.0f}"/>'
    hours = list(of.hours())
    for stamp, _ in hours:
        yield f'<path d="M{of.x(stamp):.1f} {top - 6:.0f}V{low:.0f}" stroke-opacity="0.55"/>'
    yield '</g><g class="faint" fill="#b9ae9e">'
    for stamp, words in hours:
        yield f'<text x="{of.x(stamp) + 3:.1f}" y="{top - 10:.0f}" font-size="15">{words}</text>'
    yield '</g><g font-size="18">'
    for row, zone in enumerate(zones):
        words = fitted(state.spec.data["zones"][zone]["name"] or _words(zone), LEFT - 30.0, 18.0)
        yield f'<text x="20" y="{top + ROW * (row + 0.5) + 6:.0f}">{text(words)}</text>'
    yield "</g>"


def _bars(of: _Day, zones: Sequence[str], found: Iterable[tuple[str, Occurrence]]) -> Iterator[_Bar]:
    """Each booking's rows, neighbours together; its words may reach as far as the next booking of those rows."""
    at = {zone: row for row, zone in enumerate(zones)}
    rows = [(booking, one, sorted(at[z] for z in one.zones if z in at)) for booking, one in found]
    begins: dict[int, list[float]] = {}
    for _, one, taken in rows:
        for row in taken:
            begins.setdefault(row, []).append(one.begins)
    for booking, one, taken in rows:
        while taken:
            run = [taken.pop(0)]
            while taken and taken[0] == run[-1] + 1:
                run.append(taken.pop(0))
            nexts = [b for row in run for b in begins[row] if b >= one.over]
            yield _Bar(booking, one, run[0], run[-1], of.x(min(nexts, default=of.end)) - 6.0)


def _box(of: _Day, bar: _Bar, top: float) -> tuple[list[float], float, float]:
    """The xs of begin, start, end and over; y and height."""
    one = bar.one
    xs = [of.x(stamp) for stamp in (one.begins, one.start, one.end, one.over)]
    return xs, top + ROW * bar.first + 4.0, ROW * (bar.last - bar.first + 1) - 8.0


def _shapes(state: State, of: _Day, bars: Iterable[_Bar], top: float) -> Iterator[str]:
    last: dict[tuple[str, str], _Bar] = {}
    for bar in bars:
        one = bar.one
        xs, y, height = _box(of, bar, top)
        dashes = ' stroke-dasharray="9 5"' if one.status == "tentative" else ""
        said = _said(state, of, bar.booking, one)
        yield f'<g class="booking" role="img" aria-label={quoteattr(plain(said))}><title>{text(said)}</title>'
        above = last.get((bar.booking, one.key))
        if above is not None:
            # Rooms that do not lie side by side here, and still are one: a strut goes from one to the other.
            low = top + ROW * (above.last + 1) - 4.0
            yield f'<path class="strut" d="M{xs[1] + 5:.1f} {low:.0f}V{y:.0f}" stroke="#f4e2bd" stroke-width="6"/>'
        last[bar.booking, one.key] = bar
        place = f'y="{y:.0f}" height="{height:.0f}"'
        for left, right, fill in ((xs[0], xs[1], "url(#set-up)"), (xs[2], xs[3], "url(#clear-down)")):
            if right > left:
                yield f'<rect x="{left:.1f}" width="{right - left:.1f}" {place} fill="{fill}"/>'
        yield f'<rect class="body" x="{xs[1]:.1f}" width="{xs[2] - xs[1]:.1f}" {place} fill="#3b3022"/>'
        yield (
            f'<rect class="of" x="{xs[0]:.1f}" width="{xs[3] - xs[0]:.1f}" {place} fill="none" stroke="#f4e2bd" '
            f'stroke-width="2"{dashes}/></g>'
        )


def _labels(state: State, of: _Day, bars: Iterable[_Bar], top: float) -> Iterator[str]:
    """What is written in the bars; for those who hear it the bars' titles say more."""
    yield '<g aria-hidden="true" pointer-events="none">'
    for bar in bars:
        yield from _words_in(state, of, bar, *_box(of, bar, top))
    yield "</g>"


def _words_in(state: State, of: _Day, bar: _Bar, xs: Sequence[float], y: float, height: float) -> Iterator[str]:
    """What is written in a bar: title, time, and with which rooms it is one where that is not seen."""
    one = bar.one
    # A short one has words beside it as far as there is room; where there is none its title, as one reads it, is left.
    width = (xs[2] if xs[2] - xs[1] >= LEGIBLE else max(bar.room, xs[2])) - xs[1] - 12.0
    if width < 16.0:
        return
    seen = diary_view.occurrence(state, bar.booking, one)
    others = [zone for zone in one.zones if zone not in [*state.spec.zones][bar.first : bar.last + 1]]
    rest = [f"{of.clock(one.start)}\N{EN DASH}{of.clock(one.end)}"]
    rest += [f"one room with {_listed(state, others)}"] if others else []
    rest += [f"{seen['attendance']} people"] if seen["attendance"] is not None else []
    # A part of a time tells nothing: where it does not fit, the start alone is told, and the rest by the title.
    rest = [words for words in rest if fitted(words, width, 15.0) == words] or [of.clock(one.start)]
    most = int((height - 4.0) // 19.0)
    lines = wrapped(_capital(seen["title"]), width, 17.0, max(1, most - len(rest)))
    lines += rest
    yield (
        f'<svg class="said" x="{xs[1] + 7:.1f}" y="{y:.0f}" width="{width + 4:.1f}" height="{height:.0f}" '
        'stroke="#1d1814" stroke-width="5" stroke-linejoin="round" paint-order="stroke">'
    )
    for number, words in enumerate(lines[:most]):
        yield f'<text y="{19 * (number + 1):.0f}" font-size="{15 if words in rest else 17}">{text(words)}</text>'
    yield "</svg>"


def _by_wall(turns: Data | None) -> dict[str, list[Data]]:
    """The day's moves by wall, earliest due first."""
    found: dict[str, list[Data]] = {}
    for turn in (turns or {}).get("turns", ()):
        for move in turn["moves"]:
            found.setdefault(move["partition"], []).append(move)
    return {wall: sorted(moves, key=lambda m: str(m["not_after"])) for wall, moves in sorted(found.items())}


def _walls(state: State, of: _Day, moves: Mapping[str, Sequence[Data]], top: float) -> Iterator[str]:
    if moves:
        yield f'<text class="faint" x="20" y="{top - 12:.0f}" fill="#b9ae9e">Walls to be moved by the crew</text>'
    for row, (wall, found) in enumerate(moves.items()):
        y = top + WALL_ROW * row
        yield f'<path class="line" d="M20 {y:.0f}H{RIGHT:.0f}" stroke="#5b534a"/>'
        words = fitted(_wall_name(state, wall), LEFT - 30.0, 16.0)
        yield f'<text x="20" y="{y + 31:.0f}">{text(words)}</text>'
        for number, move in enumerate(found):
            nearest = found[number + 1]["not_before"] if number + 1 < len(found) else None
            yield from _move(state, of, wall, move, y, of.x(_stamp(nearest)) if nearest else RIGHT)


def _move(state: State, of: _Day, wall: str, move: Data, y: float, room: float) -> Iterator[str]:
    """One move: its window as a line with ends, when a crew has planned it as a block, what it is in words."""
    after = _stamp(move["not_after"])
    before = _stamp(move["not_before"]) if move["not_before"] else of.start
    done = " \N{CHECK MARK}" if move["tick"] else " late" if move["late"] else ""
    short = f"{move['to']} by {of.clock(after)}{done}"
    said = f"{_wall_name(state, wall)}, {_between(state, wall)}: to be {move['to']} by {of.clock(after)}"
    said += f", not before {of.clock(before)}" if move["not_before"] else ""
    said += f"; ticked off by {move['tick']['who']}" if move["tick"] else "; late" if move["late"] else ""
    yield f'<g class="move" role="img" aria-label={quoteattr(plain(said))}><title>{text(said)}</title>'
    left, right = of.x(before), of.x(after)
    end = f"M{left:.1f} {y + 30:.0f}v14" if move["not_before"] and before >= of.start else ""
    line = f"{end}M{left:.1f} {y + 37:.0f}H{right:.1f}m0 -7v14"
    yield f'<path class="window" d="{line}" fill="none" stroke="#57b9b4" stroke-width="2.5"/>'
    if move["planned"]:
        start, until = (of.x(_stamp(move["planned"][name])) for name in ("start", "end"))
        place = f'x="{start:.1f}" y="{y + 31:.0f}" width="{max(until - start, 4.0):.1f}" height="12"'
        yield f'<rect class="planned" {place} fill="#57b9b4"/>'
    width = len(short) * CHAR * 15.0
    # Words end where a long window does: that is when it is due.
    x = right - width if right - left > width else min(left, room - width)
    yield f'<text x="{max(x, LEFT):.1f}" y="{y + 22:.0f}" font-size="15">{text(short)}</text></g>'


def _now(of: _Day, now: float, top: float, low: float) -> Iterator[str]:
    if of.start <= now < of.end:
        x, words = of.x(now), of.clock(now)
        yield f'<g role="img" aria-label="Now, {words}"><title>Now, {words}</title>'
        line = f"M{x:.1f} {top - 30:.0f}V{low:.0f}"
        yield f'<path class="now" d="{line}" stroke="#ffffff" stroke-width="2" stroke-dasharray="2 4"/>'
        yield f'<text x="{x + 4:.1f}" y="{top - 28:.0f}" font-size="15" font-weight="700">now {words}</text></g>'


# Words


def _said(state: State, of: _Day, booking: str, one: Occurrence) -> str:
    """A booking as a sentence."""
    seen = diary_view.occurrence(state, booking, one)
    parts = [f"{_capital(seen['title'])}, {_listed(state, one.zones)}, {of.clock(one.start)} to {of.clock(one.end)}"]
    if one.begins < one.start:
        parts.append(f"set-up from {of.clock(one.begins)}")
    if one.over > one.end:
        parts.append(f"clear-down until {of.clock(one.over)}")
    if one.status == "tentative":
        parts.append("tentative")
    if seen["attendance"] is not None:
        parts.append(f"{seen['attendance']} people")
    return "; ".join(parts)


def _summary(
    state: State, of: _Day, found: Sequence[tuple[str, Occurrence]], moves: Mapping[str, Sequence[Data]]
) -> str:
    told = [_said(state, of, booking, one) for booking, one in found]
    walls = sum(len(each) for each in moves.values())
    head = "Nothing is booked." if not told else f"{len(told)} booked."
    return f"{head} {walls} walls to be moved. " + ". ".join(told) if walls else f"{head} " + ". ".join(told)


def _wall_name(state: State, wall: str) -> str:
    return str(state.spec.data["partitions"][wall].get("name") or _words(wall))


def _between(state: State, wall: str) -> str:
    return "between " + _listed(state, state.spec.data["partitions"][wall]["between"])


def _listed(state: State, zones: Sequence[str]) -> str:
    names = [str(state.spec.data["zones"][z]["name"] or _words(z)) if z in state.spec.zones else z for z in zones]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _words(key: str) -> str:
    return key.replace("-", " ").capitalize()


def _stamp(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()
