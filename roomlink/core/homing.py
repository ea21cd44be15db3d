"""Links by hand that end by themselves: when the wall between closes, and when a booking clears down.

``hand_links_on_close`` says so for each controller: ``end``, as befits a panel on a wall, or ``keep``, for one that is
carried about.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from roomlink.core import links
from roomlink.core.state import Draft

Group = tuple[str, ...]


def end_parted(draft: Draft, groups: Iterable[Group], old_of: Mapping[str, Group | None]) -> None:
    """End the links by hand between a controller's home and zones that were one group with it, and are no longer.

    A link that a person made across a closed wall has nothing to do with the walls that move now, and stays.
    """
    for group in groups:
        for home in group:
            old = old_of[home]
            if old is None:
                continue
            for controller in draft.spec.homed_at[home]:
                parted = [zone for zone in draft.linked.get(controller, ()) if zone in old and zone not in group]
                for zone in parted if _ends(draft, controller) else ():
                    links.drop_reason(draft, controller, zone, "hand", "the wall between closed")


def go_home(draft: Draft, zones: Iterable[str]) -> None:
    """A booking clears down: controllers at home in its zones keep no link by hand but to their home."""
    for home in zones:
        for controller in draft.spec.homed_at.get(home, ()):
            if not _ends(draft, controller):
                continue
            for zone in draft.linked.get(controller, ()):
                if zone != home:
                    links.drop_reason(draft, controller, zone, "hand", "the booking is over")
            if (controller, home) not in draft.links:
                links.link(draft, controller, home, "home")


def _ends(draft: Draft, controller: str) -> bool:
    return draft.spec.controllers[controller].hand_links_on_close == "end"
