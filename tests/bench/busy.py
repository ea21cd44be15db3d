"""1,000 panels at 200 changes a second: processors needed, and time to the last panel, beside the library's."""

from __future__ import annotations

from tests.bench._figures import Figure, Found, quick
from tests.bench.fanout import measure, of

PANELS, RATE, CHANGES, ROUNDS = 1000, 200.0, 400, 2


def main() -> list[Found]:
    panels, changes, rounds = (20, 20, 1) if quick() else (PANELS, CHANGES, ROUNDS)
    runs = measure(panels, RATE, changes, rounds, ["websockets"])
    head, floor = f"{panels:,} panels, {RATE:g} changes a second:", "a broadcast of websockets"
    cores = {name: [cpu * panels * RATE for cpu in of(runs, name, "cpu")] for name in runs}
    p99 = {name: of(runs, name, "last.p99") for name in runs}
    told = [run["messages"] / panels / changes for run in runs["roomlink"]]
    return [
        Figure(f"{head} processors that this needs", "", cores["roomlink"], floor, cores["websockets"]),
        Figure(f"{head} p99 to the last panel", "ms", p99["roomlink"], floor, p99["websockets"]),
        Figure(f"{head} messages a change and a panel (less than 1: merged)", "", told),
    ]
