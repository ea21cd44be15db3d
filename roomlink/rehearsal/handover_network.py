"""Which ports the service and its devices need: taken from what each driver makes of its device's keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from roomlink.drivers.e131.wire import multicast_address
from roomlink.drivers.registry import DriverConfigError, Registry
from roomlink.rehearsal.handover_words import words

SERVICE_PORT = 8080

WITHHELD = frozenset(("headers", "secret_headers", "password_file", "ca_file", "user", "username", "driver"))
"""Keys of devices that lead to secrets, or are told elsewhere."""

TCP = {"modbus": "Modbus/TCP", "mqtt": "MQTT", "pjlink": "PJLink", "text": "text lines", "osc": "OSC"}

Port = tuple[str, str, str, str, str]
"""From, to, transport, port, for what."""


def ports(devices: Mapping[str, Mapping[str, Any]], registry: Registry) -> list[Port]:
    """Every way through the network, the service's own first."""
    said = "panels, pages, API and live sockets (HTTP, WebSocket); the port is that of --port"
    found: list[Port] = [("panels and browsers", "roomlink", "TCP", str(SERVICE_PORT), said)]
    for name, raw in devices.items():
        try:
            driver, config = registry.parse_device(name, raw)
        except DriverConfigError:
            # A driver that is not installed here: what was written is all that is known.
            found.append(("roomlink", name, "", "", f"unknown to this installation ({raw.get('driver')})"))
            continue
        found += _of(name, driver.name, config)
    return found


def _of(name: str, driver: str, config: Any) -> list[Port]:
    if driver == "simulated":
        return [("roomlink", name, "none", "", "simulated in the service")]
    if driver == "e131":
        many = config.destination == "multicast"
        to = f"{name} ({multicast_address(config.universe) if many else config.destination})"
        kind = "multicast" if many else "unicast"
        return [("roomlink", to, "UDP", str(config.port), f"ANSI E1.31, universe {config.universe}, {kind}")]
    if driver == "http":
        parts = urlsplit(config.base)
        port = parts.port or {"https": 443}.get(parts.scheme, 80)
        return [("roomlink", f"{name} ({parts.hostname})", "TCP", str(port), parts.scheme.upper())]
    return _plain(name, driver, config)


def _plain(name: str, driver: str, config: Any) -> list[Port]:
    """Drivers whose devices have a host and a port, or a serial cable; also those of others."""
    if getattr(config, "transport", "") == "serial":
        return [("roomlink", f"{name} ({config.path})", "serial", "", f"{config.baud} bit/s, parity {config.parity}")]
    host, port = getattr(config, "host", None), getattr(config, "port", None)
    transport = str(getattr(config, "transport", "tcp")).upper()
    what = TCP.get(driver, driver) + (" over TLS" if getattr(config, "tls", False) else "")
    found: list[Port] = [("roomlink", f"{name} ({host})" if host else name, transport, words(port), what)]
    if getattr(config, "listen", None) is not None:
        found.append((f"{name} ({host})", "roomlink", "UDP", str(config.listen), f"{what}, reports"))
    return found


def settings(raw: Mapping[str, Any]) -> str:
    """A device's own keys as they were written; what leads to a secret, or is long, is left to the configuration."""
    plain = {k: v for k, v in raw.items() if k not in WITHHELD and not isinstance(v, Mapping | list)}
    shown = [f"{key} {_address(str(value)) if key == 'base' else words(value)}" for key, value in plain.items()]
    left = [key for key in raw if key not in plain and key != "driver"]
    return "; ".join([*shown, *(f"{key} as in the configuration" for key in left)])


def _address(url: str) -> str:
    """An address without what somebody may have put before its host."""
    return url if "@" not in url else f"{urlsplit(url).scheme}://{url.rpartition('@')[2]}"
