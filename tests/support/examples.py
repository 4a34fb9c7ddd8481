"""How many examples a property looks at that needs more or fewer than others: so many times those of the profile."""

from hypothesis import settings

PROFILE = 30
"""Examples of a property in a run of everything; `--fast` and `--hypothesis-profile=thorough` have others."""


def examples(of_everything: int) -> settings:
    """As many examples in a run of everything; in any other, more or fewer in proportion.

    Only in a test module: the profile is chosen before those are imported.
    """
    chosen = settings.get_profile(settings.get_current_profile_name()).max_examples
    return settings(max_examples=max(1, of_everything * chosen // PROFILE))
