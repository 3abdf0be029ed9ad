"""Physics errors made on purpose: one change in one expression of the program's sources."""

from __future__ import annotations

import ast
import copy
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

# Where the physics is. What only arranges, shows or checks is left out.
FILES = (
    "transport/launch.py", "transport/lens.py", "transport/scatter.py", "transport/mirror.py",
    "transport/cuticle.py", "transport/cloud.py", "transport/planes.py", "transport/probe.py",
    "transport/sides.py", "transport/splits.py", "transport/rare.py", "transport/wall.py",
    "transport/triangle.py", "transport/history.py", "transport/real.py", "transport/random.py",
    "world/optics.py", "world/strips.py", "world/planes.py", "world/faces.py", "world/probes.py",
    "world/clouds.py", "world/layers.py", "light/placing.py", "light/lens_table.py",
    "light/fluxes.py", "light/meter.py", "matter/cuticle.py", "matter/turbid/inclination.py",
    "matter/turbid/volume.py", "tallies/label.py", "tallies/label_probes.py",
    "tallies/label_leaning.py", "tallies/rows.py",
)  # fmt: skip
TURNED_OPERATORS: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt,
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
}  # fmt: skip
# Names that stand for one thing along another axis, on another side or of another kind.
TURNED_NAMES = {
    "x": "y", "y": "z", "z": "x", "dx": "dy", "dy": "dz", "dz": "dx", "nx": "ny", "ny": "nz",
    "nz": "nx", "ox": "oy", "oy": "oz", "oz": "ox", "s": "c", "c": "s", "u": "v", "v": "u",
    "ONE": "TWO", "TWO": "ONE", "HALF": "ONE", "UPPER": "LOWER", "LOWER": "UPPER",
    "DIFFUSE": "SPECULAR", "SPECULAR": "TRANSMIT", "TRANSMIT": "DIFFUSE", "m_along": "m_across",
    "m_across": "m_along", "nx_": "ny_", "low_x": "low_y", "low_y": "low_x", "along": "over",
    "u_way": "u_life", "u_polar": "u_turn", "u_turn": "u_polar",
}  # fmt: skip
TURNED_CALLS = {
    "cos": "sin", "sin": "cos", "min": "max", "max": "min", "cosd": "sind", "sind": "cosd",
    "floor": "ceil",
}  # fmt: skip
DROPPED_CALLS = ("abs", "root", "sqrt", "exp_of", "exp")


@dataclass(frozen=True)
class Mutant:
    """One change.

    Attributes
    ----------
    file : str
        Below the package.
    line : int
        Of the statement.
    function : str
        In which it stands.
    before, after : str
        The statement (or the head of it), as Python writes it.
    source : str
        The whole file, changed.
    """

    file: str
    line: int
    function: str
    before: str
    after: str
    source: str

    @property
    def name(self) -> str:
        """What it is known by, also after lines move."""
        return f"{self.file} {self.function}: {self.before}  ->  {self.after}"


def mutants(package: Path, seed: int = 1, per_statement: int = 1) -> list[Mutant]:
    """Give changes of every statement that reckons, so many of each, drawn by a seed.

    Statements of a function that read alike are told apart by their number.
    """
    seen: dict[str, int] = {}
    found = []
    for mutant in _mutants(package, seed, per_statement):
        number = seen[mutant.name] = seen.get(mutant.name, 0) + 1
        found.append(mutant if number == 1 else replace(mutant, after=f"{mutant.after} #{number}"))
    return found


def _mutants(package: Path, seed: int, per_statement: int) -> Iterator[Mutant]:
    for file in FILES:
        tree = ast.parse((package / file).read_text("utf-8"))
        for function in [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]:
            for statement in _statements(function):
                # The same draw whatever stands elsewhere.
                rng = random.Random(f"{seed}/{file}/{function.name}/{_head(statement)}")
                changes = list(_changes(statement))
                rng.shuffle(changes)
                seen: set[str] = set()
                for path, new in changes:
                    changed = copy.deepcopy(tree)
                    target = _same(tree, changed, statement)
                    before = _head(statement)
                    _put(target, path, new)
                    after = _head(target)
                    if after in seen or after == before:
                        continue
                    seen.add(after)
                    yield Mutant(file, statement.lineno, function.name, before, after,
                                 ast.unparse(changed))  # fmt: skip
                    if len(seen) == per_statement:
                        break


def _statements(function: ast.FunctionDef) -> Iterator[ast.stmt]:
    """Every statement of a function that reckons or decides, once."""
    for node in _inside(function):
        reckons = isinstance(
            node, ast.Assign | ast.AugAssign | ast.AnnAssign | ast.Return | ast.If | ast.While
        )
        calls = isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
        if isinstance(node, ast.stmt) and (reckons or calls):
            yield node


def _inside(node: ast.AST) -> Iterator[ast.AST]:
    """All nodes below one, but for what stands in functions defined there."""
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.FunctionDef):
            yield child
            yield from _inside(child)


def _own(statement: ast.stmt) -> list[tuple[str, ast.AST]]:
    """Parts of a statement that are its own: the test of an if, not what it holds."""
    if isinstance(statement, ast.If | ast.While):
        return [("test", statement.test)]
    parts = []
    for name in ("value", "op"):
        part = getattr(statement, name, None)
        if isinstance(part, ast.AST):
            parts.append((name, part))
    return parts


Path_ = tuple[tuple[str, int | None], ...]


def _nodes(part: ast.AST, path: Path_) -> Iterator[tuple[Path_, ast.AST]]:
    yield path, part
    for field, value in ast.iter_fields(part):
        if isinstance(value, ast.AST):
            yield from _nodes(value, (*path, (field, None)))
        elif isinstance(value, list):
            for number, each in enumerate(value):
                if isinstance(each, ast.AST):
                    yield from _nodes(each, (*path, (field, number)))


def _changes(statement: ast.stmt) -> Iterator[tuple[Path_, ast.AST]]:
    """Every single change of a statement: where, and what stands there then."""
    for name, part in _own(statement):
        for path, node in _nodes(part, ((name, None),)):
            kind = TURNED_OPERATORS.get(type(node))
            if kind is not None:
                yield path, kind()
            elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
                yield path, node.operand
            elif isinstance(node, ast.Name) and node.id in TURNED_NAMES:
                yield path, ast.Name(TURNED_NAMES[node.id], ast.Load())
            elif isinstance(node, ast.Constant) and type(node.value) is float and node.value:
                yield path, ast.Constant(node.value * 1.1)
            elif isinstance(node, ast.Subscript):
                yield from _other_index(path, node)
            elif isinstance(node, ast.Call):
                called = node.func.attr if isinstance(node.func, ast.Attribute) else (
                    node.func.id if isinstance(node.func, ast.Name) else "")  # fmt: skip
                if called in DROPPED_CALLS and len(node.args) == 1:
                    yield path, node.args[0]
                if called in TURNED_CALLS:
                    new = copy.deepcopy(node)
                    if isinstance(new.func, ast.Attribute):
                        new.func.attr = TURNED_CALLS[called]
                    elif isinstance(new.func, ast.Name):
                        new.func.id = TURNED_CALLS[called]
                    yield path, new
            elif isinstance(node, ast.IfExp):
                yield path, ast.IfExp(node.test, node.orelse, node.body)


def _other_index(path: Path_, node: ast.Subscript) -> Iterator[tuple[Path_, ast.AST]]:
    """Another axis, side or column: a whole number in an index, one up or down."""
    index = node.slice
    places = [(("slice", None), index)]
    if isinstance(index, ast.Tuple):
        places = [(("slice", None), index)]
        for number, each in enumerate(index.elts):
            if isinstance(each, ast.Constant) and type(each.value) is int:
                other = each.value + (1 if each.value % 2 == 0 else -1)
                yield (*path, ("slice", None), ("elts", number)), ast.Constant(other)
        return
    for step, each in places:
        if isinstance(each, ast.Constant) and type(each.value) is int:
            other = each.value + (1 if each.value % 2 == 0 else -1)
            yield (*path, step), ast.Constant(other)


def _same(tree: ast.AST, other: ast.AST, node: ast.AST) -> ast.AST:
    """The node of a copy that stands where another stands in the original."""
    for one, two in zip(ast.walk(tree), ast.walk(other), strict=True):
        if one is node:
            return two
    raise AssertionError("the node is not of this tree")


def _put(root: ast.AST, path: Path_, new: ast.AST) -> None:
    at: object = root
    for field, number in path[:-1]:
        at = getattr(at, field)
        if number is not None:
            at = at[number]  # type: ignore[index]
    field, number = path[-1]
    if number is None:
        setattr(at, field, new)
    else:
        getattr(at, field)[number] = new


def _head(statement: ast.AST) -> str:
    """A statement on one line, without what it holds."""
    text = ast.unparse(statement)
    return " ".join(text.split("\n")[0].split())
