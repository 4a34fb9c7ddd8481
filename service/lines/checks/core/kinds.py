"""What a line check is for. Pure."""

from enum import StrEnum


class CheckKind(StrEnum):
    """Listening to every channel, or a set-up drill, which times the stations."""

    CHECK = "check"
    DRILL = "drill"
