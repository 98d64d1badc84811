"""Modules and functions stay small enough to be read at once (house rule)."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULE_LINES = 400
FUNCTION_LINES = 50
LARGER_WITH_REASON: dict[str, str] = {}
"""`path` or `path:function`, and why it may be larger."""

MODULES = sorted([*ROOT.glob("edgemon/**/*.py"), *ROOT.glob("simulators/**/*.py")])


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_module_and_its_functions_are_small(path: Path) -> None:
    name = str(path.relative_to(ROOT))
    text = path.read_text()
    too_large = [] if len(text.splitlines()) <= MODULE_LINES else [name]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = [
                statement
                for statement in node.body
                if not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant))
            ]
            if body and (body[-1].end_lineno or 0) - body[0].lineno + 1 > FUNCTION_LINES:
                too_large.append(f"{name}:{node.name}")
    assert [one for one in too_large if one not in LARGER_WITH_REASON] == []
