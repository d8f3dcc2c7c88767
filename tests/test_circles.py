"""No circle of files: what a file imports, late or for types too, never leads back to it."""

import ast
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import pytest

from railwright.cli.commands import COMMANDS

SOURCE = Path(__file__).parents[1] / "src"

FILLED_IN = {"railwright.cli.commands": [name.replace("-", "_") for name in COMMANDS]}
"""Module -> the words that it puts into names of modules that it imports; of others any word is assumed."""

Graph = Mapping[str, Mapping[str, int]]
"""Module -> module that it imports -> line where it first does."""


def modules_in(source: Path) -> dict[str, Path]:
    """Module -> its file; a package is its `__init__.py`."""
    found = {}
    for path in sorted(source.rglob("*.py")):
        parts = path.relative_to(source).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def graph_of(source: Path) -> Graph:
    """Who imports whom. A package counts where a name is taken from it, not where it leads to a module."""
    modules = modules_in(source)
    graph = {}
    for module, path in modules.items():
        tree = ast.parse(path.read_text("utf-8"))
        package = module if path.name == "__init__.py" else module.rpartition(".")[0]
        lines: dict[str, int] = {}
        words = "|".join(FILLED_IN.get(module, [r"\w+"]))
        for imported, line in imported_by(tree, package, modules, words):
            lines[imported] = min(line, lines.get(imported, line))
        graph[module] = lines
    return graph


def imported_by(tree: ast.AST, package: str, modules: Iterable[str], words: str) -> Iterator[tuple[str, int]]:
    """Modules of these that a file of the package imports anywhere, and where; also by `import_module`.

    words: pattern of what it fills in where it puts a name together.
    """
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [each.name for each in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            submodules = [f"{base}.{each.name}" for each in node.names]
            names = [each if each in modules else base for each in submodules]
        elif isinstance(node, ast.Call) and called(node) in ("import_module", "__import__") and node.args:
            pattern = "".join(texts_of(node.args[0], words))
            names = [each for each in modules if re.fullmatch(pattern, each)]
        yield from ((name, node.lineno) for name in names if name in modules)


def called(node: ast.Call) -> str:
    return ast.unparse(node.func).rpartition(".")[2]


def texts_of(name: ast.expr, words: str) -> Iterator[str]:
    """Pattern of a module's name; `words` for what is worked out only when it runs."""
    for part in name.values if isinstance(name, ast.JoinedStr) else [name]:
        yield re.escape(str(part.value)) if isinstance(part, ast.Constant) else f"({words})"


def circles_of(graph: Graph) -> list[tuple[str, ...]]:
    """Sets of modules that lead to each other (strongly connected components of more than one, by Tarjan's
    method), and modules that import themselves; sorted.
    """
    number: dict[str, int] = {}
    lowest: dict[str, int] = {}
    stack: list[str] = []
    found = []

    def visit(module: str) -> None:
        number[module] = lowest[module] = len(number)
        stack.append(module)
        for other in graph[module]:
            if other not in number:
                visit(other)
            if other in stack:
                lowest[module] = min(lowest[module], lowest[other])
        if lowest[module] == number[module]:
            first = stack.index(module)
            together = tuple(sorted(stack[first:]))
            del stack[first:]
            if len(together) > 1 or module in graph[module]:
                found.append(together)

    for module in graph:
        if module not in number:
            visit(module)
    return sorted(found)


def test_no_file_leads_back_to_itself() -> None:
    graph = graph_of(SOURCE)
    ways = [
        f"{module}:{line} imports {other}"
        for circle in circles_of(graph)
        for module in circle
        for other, line in graph[module].items()
        if other in circle
    ]
    assert ways == [], "move what both need to a file of its own"


def write(folder: Path, **texts: str) -> Path:
    """A package `p` of these modules; `__` in a name is a step into a package."""
    for name, text in {"__init__": "", "a____init__": "", **texts}.items():
        path = folder / "p" / Path(*name.replace("a__", "a/", 1).split("/")).with_suffix(".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    return folder


@pytest.mark.parametrize(
    "text",
    [
        "from p.two import x",
        "from p import two",
        "from . import two",
        "from .two import x",
        "import p.two as t",
        "def late():\n    from p.two import x",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from p.two import x",
        "from importlib import import_module\nimport_module('p.two')",
        "import importlib\nword = 'two'\nimportlib.import_module(f'p.{word}')",
        "__import__('p.two')",
    ],
)
def test_a_circle_is_found_however_it_is_written(text: str, tmp_path: Path) -> None:
    source = write(tmp_path, one=text, two="from p.a.three import y", a__three="import p.one")
    assert circles_of(graph_of(source)) == [("p.a.three", "p.one", "p.two")]


def test_a_package_counts_where_a_name_of_its_own_is_taken(tmp_path: Path) -> None:
    one, two = "from p.two import x", "from p.a.one import x"
    leads = write(tmp_path / "leads", a____init__=two, a__one="", two=two)
    assert circles_of(graph_of(leads)) == []
    takes = write(tmp_path / "takes", a____init__=two, a__one="from p.a import y")
    assert circles_of(graph_of(takes)) == [("p.a", "p.a.one")]
    door = write(tmp_path / "door", __init__="from p.one import x", one=one, two="import p.one")
    assert circles_of(graph_of(door)) == [("p.one", "p.two")]
