"""The time zones of the tz database, without those that have the same rules as another."""

import zoneinfo
from importlib.resources import files
from pathlib import Path


def each_once() -> list[str]:
    """One name for each set of rules, in order."""
    named: dict[bytes, str] = {}
    for zone in sorted(zoneinfo.available_timezones()):
        named.setdefault(_rules(zone), zone)
    return list(named.values())


def _rules(zone: str) -> bytes:
    path = next((path for folder in zoneinfo.TZPATH if (path := Path(folder, zone)).is_file()), None)
    return path.read_bytes() if path else files("tzdata").joinpath("zoneinfo", zone).read_bytes()
