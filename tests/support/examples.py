"""The number of examples for a property that needs more or fewer than others, in proportion to the profile's."""

from hypothesis import settings

PROFILE = 30
"""The default number of examples in a full run; `--fast` and `--hypothesis-profile=thorough` have others."""


def examples(of_everything: int) -> settings:
    """The number of examples in this run, given that for a full run.

    To be called in test modules only: the profile is chosen before they are imported.
    """
    chosen = settings.get_profile(settings.get_current_profile_name()).max_examples
    return settings(max_examples=max(1, of_everything * chosen // PROFILE))
