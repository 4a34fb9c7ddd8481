"""The syntax of Python files, each parsed once for all tests of the house."""

import ast
from functools import cache


@cache
def parsed(source: str) -> ast.Module:
    """The syntax tree of a file's text; it must not be modified."""
    return ast.parse(source)


@cache
def nodes(source: str) -> tuple[ast.AST, ...]:
    """All nodes of a file's text."""
    return tuple(ast.walk(parsed(source)))
