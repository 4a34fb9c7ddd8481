"""What a phone keeps of a line check, to judge it without a signal as `judging` and `tracing` do. Pure."""

from collections.abc import Iterable
from typing import Any

from service.lines.checks.core.components import CheckedChannel, Component, Experience, components_of
from service.lines.checks.core.tracing import (
    BYPASS_S,
    LISTEN_S,
    TracedPart,
    laying_a_spare,
    listening_after,
    nothing_left,
    swapping,
    traced_parts,
)


def package_of(channels: Iterable[CheckedChannel], experience: Experience) -> dict[str, Any]:
    """The `components` by key, the `channels` with their `parts` from the source to the mixer, and the seconds of
    `times`, as JSON. Sentences are pairs of what to do and what to bring.
    """
    components: dict[str, Component] = {}
    packed = []
    for channel in channels:
        through = components_of(channel, experience)
        components |= {component.key: component for component in through}
        packed.append(_channel(channel, through))
    return {
        "components": {key: _component(component) for key, component in components.items()},
        "channels": packed,
        "times": {"listen_s": LISTEN_S, "bypass_s": BYPASS_S},
    }


def _component(component: Component) -> dict[str, Any]:
    return {
        "kind": component.kind.value,
        "name": component.name,
        "probability": component.probability,
        "basis": component.basis,
        "code": component.code,
    }


def _channel(channel: CheckedChannel, through: list[Component]) -> dict[str, Any]:
    return {
        "id": str(channel.id),
        "number": channel.number,
        "source": channel.source,
        "title": channel.title,
        "place": channel.place,
        "items": [{"id": str(piece.item), "name": piece.name} for piece in channel.pieces],
        "parts": [_part(channel, part) for part in traced_parts(channel, through, {})],
        "bypass": laying_a_spare(channel),
        "nothing": nothing_left(channel),
    }


def _part(channel: CheckedChannel, part: TracedPart) -> dict[str, Any]:
    return {
        "keys": [component.key for component in part.components],
        "place": part.component.place,
        "swap_s": part.swap_s,
        "swap": swapping(part),
        "listen": listening_after(channel, part) if part.can_listen else None,
    }
