"""A fit as it is stored: what it rests on and the models of its classes as JSON, its tables as text. Pure.

Numbers come back as they were, to the last digit.
"""

import base64
import zlib
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from service.wear.core.classes import ClassModels, Fitted, Path
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull

if TYPE_CHECKING:
    from service.wear.core.grid import Floats
    from service.wear.core.pooling import ClassTables, KnownLives
    from service.wear.core.program_fit import ProgramFit

VERSION: Final = 1
"""Counted up when the model changes: a fit of another version is not used, and made anew."""


def as_document(fit: "ProgramFit", models: ClassModels) -> dict[str, Any]:
    """What a fit rests on, its models, and the classes of its tables in their order."""
    number: dict[KnownLives, int] = {}
    items = {str(item_id): number.setdefault(known, len(number)) for item_id, known in fit.items.items()}
    return {
        "version": VERSION,
        "items": items,
        "lives": [[path, [[life.lower, life.upper] for life in lives]] for path, lives in number],
        "models": [[path, [_as_numbers(each) for each in (of.model, *of.edge)]] for path, of in models.fitted.items()],
        "otherwise": sorted(models.otherwise),
        "known": sorted(fit.tables.known),
        "within": sorted(fit.tables.within),
    }


def items_of(document: Mapping[str, Any]) -> "dict[UUID, KnownLives]":
    """The class and the lives of each item."""
    lives = [(tuple(path), tuple(Life(*bounds) for bounds in of_item)) for path, of_item in document["lives"]]
    return {UUID(item_id): lives[number] for item_id, number in document["items"].items()}


def models_of(document: Mapping[str, Any]) -> ClassModels:
    """The models of classes."""
    fitted = {}
    for path, numbers in document["models"]:
        model, *edge = (Weibull(*of_model) for of_model in numbers)
        fitted[tuple(path)] = Fitted(model, tuple(edge))
    return ClassModels(fitted, frozenset(tuple(path) for path in document["otherwise"]))


def as_text(tables: "ClassTables") -> str:
    """The tables, one after the other in the order of the document."""
    together = b"".join(
        of_class[path].tobytes() for of_class in (tables.known, tables.within) for path in sorted(of_class)
    )
    return base64.b64encode(zlib.compress(together, 1)).decode()


def tables_of(document: Mapping[str, Any], text: str) -> "ClassTables":
    """The tables of a fit from its document and their text."""
    import numpy as np  # it would slow the start of every command

    from service.wear.core.grid import SIZE
    from service.wear.core.pooling import ITEM_WIDTHS, ClassTables

    values: Floats = np.frombuffer(zlib.decompress(base64.b64decode(text))).reshape(-1, len(ITEM_WIDTHS), *SIZE)
    tables: Iterator[Floats] = iter(values)
    known: dict[Path, Floats] = {tuple(path): next(tables) for path in document["known"]}
    return ClassTables(known, {tuple(path): next(tables) for path in document["within"]})


def _as_numbers(model: Weibull) -> list[float]:
    return [model.shape, model.scale, model.log_likelihood]
