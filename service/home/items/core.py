"""The filters of a list of items. Pure."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from service.gear.core import KINDS, FlagKind, ItemState
from service.kit.problems import Invalid
from service.season.core import DueState

SEARCH_MOST = 60


@dataclass(frozen=True)
class Filters:
    """The conditions for an item to be listed; an empty one is no condition. `q` is searched in code, label, place,
    batch.
    """

    q: str = ""
    kind: str = ""
    state: str = ""
    flag: str = ""
    due: str = ""
    place: str = ""

    @property
    def active(self) -> dict[str, str]:
        """The conditions that are not empty, by name."""
        return {name: value for name, value in asdict(self).items() if value}


def read_filters(
    q: str = "", kind: str = "", state: str = "", flag: str = "", due: str = "", place: str = ""
) -> Filters:
    """The filters in an address.

    Raises:
        Invalid: with a sentence for each field with an unknown word.
    """
    known: dict[str, tuple[str, Iterable[str]]] = {
        "kind": (kind, KINDS),
        "state": (state, ItemState),
        "flag": (flag, FlagKind),
        "due": (due, DueState),
    }
    errors = {
        name: f"“{typed[:20]}” is no {name} of an item; use one of {', '.join(words)}."
        for name, (typed, words) in known.items()
        if typed and typed not in set(words)
    }
    q = " ".join(q.split())
    if len(q) > SEARCH_MOST:
        errors["q"] = f"This search has {len(q)} characters; {SEARCH_MOST} are the most."
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return Filters(q, kind, state, flag, due, " ".join(place.split()))
