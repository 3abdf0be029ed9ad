"""Many changes in one copy of a file, each behind a switch."""

from __future__ import annotations

import ast
from collections.abc import Iterable
from pathlib import Path

from mutants import Mutant


def together(
    package: Path, group: Iterable[tuple[int, Mutant]], module: str, compiled: str, plain: str
) -> dict[str, str]:
    """Give the sources of files that hold many changes at once, each behind a switch.

    Parameters
    ----------
    package : Path
    group : iterable of (int, Mutant)
        Changes of single statements or constants, each with the number that turns it on.
    module, compiled, plain : str
        A module and two of its functions, which called with a number tell whether that is on: for
        functions that are compiled, and for others.

    Returns
    -------
    dict of str to str
        By file.
    """
    group = list(group)
    sources = {}
    for file in dict.fromkeys(mutant.file for _, mutant in group):
        here = [(number, mutant) for number, mutant in group if mutant.file == file]
        tree = ast.parse((package / file).read_text("utf-8"))
        nodes = list(ast.walk(tree))
        statements = {nodes[m.at]: (n, m.changed) for n, m in here if m.changed is not None}
        constants = {m.constant: n for n, m in here if m.constant}
        if len(statements) + len(constants) < len(here):
            raise ValueError(f"{file}: two changes of one statement, or one of many statements")
        tree = ast.fix_missing_locations(
            _Switched(statements, constants, compiled, plain).visit(tree)
        )
        # After what the file says of itself and asks of the compiler, before everything else.
        first = next(k for k, n in enumerate(tree.body) if k and not _of_the_future(n))
        tree.body.insert(first, ast.parse(f"from {module} import {compiled}, {plain}").body[0])
        sources[file] = ast.unparse(tree)
    return sources


def _of_the_future(node: ast.stmt) -> bool:
    return isinstance(node, ast.ImportFrom) and node.module == "__future__"


class _Switched(ast.NodeTransformer):
    """Put each change beside what it changes, behind a switch."""

    def __init__(
        self, statements: dict[ast.AST, tuple[int, ast.stmt]], constants: dict[str, int],
        compiled: str, plain: str,
    ) -> None:  # fmt: skip
        self.statements, self.constants = statements, constants
        self.compiled, self.plain = compiled, plain
        self.called, self.depth = plain, 0

    def visit(self, node: ast.AST) -> ast.AST:
        """Change a node, and first what it holds."""
        inside, outer = isinstance(node, ast.FunctionDef), self.called
        if isinstance(node, ast.FunctionDef):
            ways = [ast.unparse(way) for way in node.decorator_list]
            if any(way.startswith("jit") for way in ways):
                self.called = self.compiled
        self.depth += inside
        changed = self.statements.get(node)
        if changed is not None and self.constants:
            # What stands there instead reads the same constants.
            _Switched({}, self.constants, self.called, self.called)._within(changed[1])
        self.generic_visit(node)
        self.depth -= inside
        self.called = outer
        if isinstance(node, ast.Name) and self.depth and node.id in self.constants:
            more = ast.parse(f"{node.id} * np.float32(1.1)", mode="eval").body
            return ast.IfExp(self._is_on(self.constants[node.id]), more, node)
        if changed is None:
            return node
        number, other = changed
        if isinstance(node, ast.If | ast.While):
            assert isinstance(other, ast.If | ast.While)
            node.test = ast.IfExp(self._is_on(number), other.test, node.test)
            return node
        return ast.If(self._is_on(number), [other], [node])

    def _within(self, statement: ast.stmt) -> None:
        self.depth = 1
        self.generic_visit(statement)

    def _is_on(self, number: int) -> ast.expr:
        return ast.parse(f"{self.called}({number})", mode="eval").body
