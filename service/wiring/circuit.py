"""Nodal analysis of a small network of resistors, in plain Python.

Kirchhoff's current law at every node whose voltage is not given makes one linear equation a node; Gaussian
elimination with partial pivoting solves them. A node that nothing else holds leaks to zero volts through
`LEAK_SIEMENS`, as circuit simulators do, so that a cut conductor has a voltage too.

>>> divider = [("plus", "middle", 6800), ("middle", "ground", 6800)]
>>> round(node_volts(divider, {"plus": 48, "ground": 0})["middle"])
24
"""

from collections.abc import Mapping, Sequence

LEAK_SIEMENS = 1e-11

Resistor = tuple[str, str, float]
"""Two nodes and the ohms between them."""


def node_volts(resistors: Sequence[Resistor], held: Mapping[str, float]) -> dict[str, float]:
    """The volts of every node, `held` ones included. Resistors have more than zero ohms."""
    free = sorted({node for one, other, _ in resistors for node in (one, other)} - held.keys())
    index = {node: row for row, node in enumerate(free)}
    matrix = [[LEAK_SIEMENS if row == column else 0.0 for column in range(len(free))] for row in range(len(free))]
    currents = [0.0] * len(free)
    for one, other, ohms in resistors:
        for node, across in ((one, other), (other, one)):
            if node in held:
                continue
            matrix[index[node]][index[node]] += 1 / ohms
            if across in held:
                currents[index[node]] += held[across] / ohms
            else:
                matrix[index[node]][index[across]] -= 1 / ohms
    return {**held, **dict(zip(free, solve(matrix, currents), strict=True))}


def solve(matrix: list[list[float]], right: list[float]) -> list[float]:
    """x of `matrix` x = `right`, both of which are used up."""
    size = len(right)
    for column in range(size):
        pivot = max(range(column, size), key=lambda row: abs(matrix[row][column]))
        matrix[column], matrix[pivot] = matrix[pivot], matrix[column]
        right[column], right[pivot] = right[pivot], right[column]
        for row in range(column + 1, size):
            factor = matrix[row][column] / matrix[column][column]
            for at in range(column, size):
                matrix[row][at] -= factor * matrix[column][at]
            right[row] -= factor * right[column]
    solution = [0.0] * size
    for row in reversed(range(size)):
        known = sum(matrix[row][at] * solution[at] for at in range(row + 1, size))
        solution[row] = (right[row] - known) / matrix[row][row]
    return solution
