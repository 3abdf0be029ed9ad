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
    "transport/walk.py", "transport/build.py",
    "world/optics.py", "world/strips.py", "world/planes.py", "world/faces.py", "world/probes.py",
    "world/clouds.py", "world/layers.py", "world/splits.py", "world/canopy_box.py",
    "light/placing.py", "light/lens_table.py", "light/fluxes.py", "light/meter.py",
    "light/colours.py", "light/spectrum/averages.py", "light/spectrum/pieces.py",
    "light/spectrum/measures.py", "light/photometry/distribution.py", "light/photometry/lm63.py",
    "light/photometry/eulumdat.py", "light/photometry/planes.py",
    "light/photometry/goniometer.py", "light/photometry/opening.py", "light/spectrum/spectrum.py",
    "matter/cuticle.py", "matter/rough.py", "matter/optics.py", "matter/layers.py",
    "matter/turbid/inclination.py", "matter/turbid/volume.py", "matter/turbid/heights.py",
    "tallies/label.py", "tallies/label_probes.py", "tallies/label_leaning.py", "tallies/rows.py",
    "tallies/stop.py", "tallies/books.py", "analysis/books.py", "analysis/profile.py",
    "analysis/told_apart.py", "analysis/planes.py", "analysis/layers.py", "analysis/ends.py",
    "analysis/far_red.py", "analysis/facets.py", "analysis/canopy_box.py", "analysis/jackknife.py",
    "analysis/lining.py", "analysis/penetration.py", "analysis/between.py", "analysis/reach.py",
    "analysis/replicates.py", "analysis/colours.py", "matter/leaf_area.py", "matter/vectors.py",
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
# Numbers that are called what they are, and bounds that no light is near.
PLAIN = ("ZERO", "QUARTER", "HALF", "ONE", "TWO", "FOUR", "BIG", "TINY")
# What only refuses or warns is no physics: functions, by how their names begin, and calls.
CHECKS = ("_refuse", "refuse", "_warn", "warn", "_doubt", "doubt", "_buried", "__")
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
    at : int
        Number of the statement among the nodes of the file; -1 where it is no single statement.
    changed : ast.stmt, optional
        What stands there then.
    constant : str
        Name of the number that is changed, of one of a file's own; else empty.
    """

    file: str
    line: int
    function: str
    before: str
    after: str
    source: str
    at: int = -1
    changed: ast.stmt | None = None
    constant: str = ""

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
        places = {node: number for number, node in enumerate(ast.walk(tree))}
        yield from _changed_constants(file, tree)
        for function in [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]:
            if function.name.startswith(CHECKS):
                continue
            known = _names(function) | _module_names(tree)
            for statement in _statements(function):
                # The same draw whatever stands elsewhere.
                rng = random.Random(f"{seed}/{file}/{function.name}/{_head(statement)}")
                changes = list(_changes(statement, known, typed=file.startswith("transport/")))
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
                                 ast.unparse(changed), places[statement], target)  # fmt: skip
                    if len(seen) == per_statement:
                        break


def _changed_constants(file: str, tree: ast.Module) -> Iterator[Mutant]:
    """Every float32 that a kernel's file gives a name, a tenth greater."""
    for statement in tree.body:
        if not (isinstance(statement, ast.Assign) and file.startswith("transport/")):
            continue
        target, value = statement.targets[0], statement.value
        several = isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple)
        pairs = zip(target.elts, value.elts, strict=True) if several else [(target, value)]
        for name, number in pairs:
            if not (isinstance(name, ast.Name) and isinstance(number, ast.Call)):
                continue
            if ast.unparse(number.func) not in ("F", "np.float32") or name.id in PLAIN:
                continue
            changed = copy.deepcopy(tree)
            call = _same(tree, changed, number)
            assert isinstance(call, ast.Call)
            before = ast.unparse(number)
            call.args = [ast.BinOp(call.args[0], ast.Mult(), ast.Constant(1.1))]
            yield Mutant(
                file, statement.lineno, "numbers", f"{name.id} = {before}", ast.unparse(call),
                ast.unparse(changed), constant=name.id,
            )  # fmt: skip


def _statements(function: ast.FunctionDef) -> Iterator[ast.stmt]:
    """Every statement of a function that reckons or decides, once."""
    for node in _inside(function):
        reckons = isinstance(
            node, ast.Assign | ast.AugAssign | ast.AnnAssign | ast.Return | ast.If | ast.While
        )
        calls = isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
        # Compiled kernels keep no diary.
        calls = calls and ast.unparse(node.value.func) != "note"
        if isinstance(node, ast.stmt) and (reckons or calls) and not _checks(node):
            yield node


def _checks(statement: ast.stmt) -> bool:
    """Whether a statement only refuses or warns."""
    if isinstance(statement, ast.If):
        return not statement.orelse and all(_checks(each) for each in statement.body)
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call):
        return ast.unparse(statement.value.func).split(".")[-1].startswith(CHECKS)
    return isinstance(statement, ast.Raise)


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


Steps = tuple[tuple[str, int | None], ...]


def _nodes(part: ast.AST, path: Steps) -> Iterator[tuple[Steps, ast.AST]]:
    yield path, part
    for field, value in ast.iter_fields(part):
        if isinstance(value, ast.AST):
            yield from _nodes(value, (*path, (field, None)))
        elif isinstance(value, list):
            for number, each in enumerate(value):
                if isinstance(each, ast.AST):
                    yield from _nodes(each, (*path, (field, number)))


def _names(function: ast.FunctionDef) -> set[str]:
    """Names that a function has of its own."""
    given = function.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    stored = (n for n in _inside(function) if isinstance(n, ast.Name))
    return {a.arg for a in every} | {n.id for n in stored if isinstance(n.ctx, ast.Store)}


def _module_names(tree: ast.Module) -> set[str]:
    """Names that a file has outside of functions."""
    found = {alias.asname or alias.name for n in tree.body if isinstance(n, ast.ImportFrom)
             for alias in n.names}  # fmt: skip
    for node in tree.body:
        if isinstance(node, ast.Assign):
            found |= {n.id for t in node.targets for n in ast.walk(t) if isinstance(n, ast.Name)}
    return found


def _changes(
    statement: ast.stmt, known: set[str], *, typed: bool
) -> Iterator[tuple[Steps, ast.AST]]:
    """Every single change of a statement: where, and what stands there then.

    Names become others that are ``known`` there, or the change would be noticed as no physics. With
    ``typed``, products become sums and not quotients: whole numbers stay whole.
    """
    for name, part in _own(statement):
        for path, node in _nodes(part, ((name, None),)):
            kind = TURNED_OPERATORS.get(type(node))
            if kind is ast.Div and typed:
                kind = ast.Add
            if kind is not None:
                yield path, kind()
            elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
                yield path, node.operand
            elif isinstance(node, ast.Name) and TURNED_NAMES.get(node.id) in known:
                yield path, ast.Name(TURNED_NAMES[node.id], ast.Load())
            elif isinstance(node, ast.Constant) and type(node.value) is float and node.value:
                yield path, ast.Constant(node.value * 1.1)
            elif isinstance(node, ast.Subscript) and not _is_shape(node.value):
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


def _is_shape(node: ast.AST) -> bool:
    return isinstance(node, ast.Attribute) and node.attr == "shape"


def _is_whole(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) is int


def _other_index(path: Steps, node: ast.Subscript) -> Iterator[tuple[Steps, ast.AST]]:
    """Another axis, side or column: a whole number in an index, one up or down."""
    index = node.slice
    places = [(("slice", None), index)]
    if isinstance(index, ast.Tuple):
        places = [(("slice", None), index)]
        for number, each in enumerate(index.elts):
            if _is_whole(each):
                other = each.value + (1 if each.value % 2 == 0 else -1)
                yield (*path, ("slice", None), ("elts", number)), ast.Constant(other)
        return
    for step, each in places:
        if _is_whole(each):
            other = each.value + (1 if each.value % 2 == 0 else -1)
            yield (*path, step), ast.Constant(other)


def _same(tree: ast.AST, other: ast.AST, node: ast.AST) -> ast.AST:
    """The node of a copy that stands where another stands in the original."""
    for one, two in zip(ast.walk(tree), ast.walk(other), strict=True):
        if one is node:
            return two
    raise AssertionError("the node is not of this tree")


def _put(root: ast.AST, path: Steps, new: ast.AST) -> None:
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
