"""The house: what is pinned, what is shipped, and what no file may hold."""

import ast
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
SOURCES = sorted((ROOT / "src" / "railwright").rglob("*.py"))


def name_of(requirement: str) -> str:
    return re.split(r"[\s<>=!~\[;]", requirement, maxsplit=1)[0].lower().replace("_", "-")


def test_every_dependency_is_pinned_exactly_and_above_its_bound():
    pins = {}
    for line in (ROOT / "constraints.txt").read_text("utf-8").splitlines():
        name, _, version = line.partition("==")
        assert version, f"constraints.txt: expected name==version, got '{line}'"
        pins[name_of(name)] = tuple(int(part) for part in re.findall(r"\d+", version))
    project = PROJECT["project"]
    for requirement in [*project["dependencies"], *project["optional-dependencies"]["dev"]]:
        bound = tuple(int(part) for part in re.findall(r"\d+", requirement.partition(">=")[2]))
        assert bound, f"{requirement}: expected a lower bound"
        assert pins[name_of(requirement)] >= bound


def test_constraints_name_no_host_and_no_path():
    text = (ROOT / "constraints.txt").read_text("utf-8")
    assert not re.search(r"//|@|file:|--", text)


def test_files_that_are_followed_hold_no_machine_path():
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    pattern = re.compile(r"(?<![\w.])/(?:work|root|farm|home|tmp)/")
    found = []
    for name in filter(None, listed.stdout.split("\0")):
        path = ROOT / name
        if not path.is_file() or path.suffix in (".png", ".pdf", ".parquet"):
            continue
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
            if pattern.search(line):
                found.append(f"{name}:{number}: {line.strip()[:80]}")
    assert found == []


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_says_what_it_is_for(path):
    first = path.read_text("utf-8").splitlines()[0]
    assert first.startswith('"""'), "expected a first line that says what the module is for"


LONGEST, MOST = 60, 7
"""Lines of a function, and its parameters, from which on a comment above it says why."""


def test_a_long_function_says_why_it_is_one():
    """`# One piece: ...` above a function of many lines, `# Many: ...` above one of many parameters."""
    silent = []
    for path in SOURCES:
        text = path.read_text("utf-8")
        lines = text.splitlines()
        for node in ast.walk(ast.parse(text)):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            decorators = " ".join(ast.unparse(each) for each in node.decorator_list)
            if "jit" in decorators or "compiled" in decorators:
                continue
            given = node.args
            names = [each.arg for each in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
            many = len([name for name in names if name not in ("self", "cls")]) > MOST
            long = node.end_lineno - node.lineno + 1 > LONGEST
            first = min([node.lineno, *(each.lineno for each in node.decorator_list)]) - 2
            above = ""
            while first >= 0 and lines[first].strip().startswith("#"):
                above, first = lines[first].strip() + " " + above, first - 1
            if (many and "# Many: " not in above) or (long and "# One piece: " not in above):
                silent.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}")
    assert silent == []


def test_data_files_of_the_package_are_shipped():
    patterns = PROJECT["tool"]["setuptools"]["package-data"]["railwright"]
    package = ROOT / "src" / "railwright"
    shipped = {path for pattern in patterns for path in package.glob(pattern)}
    there = {p for p in package.rglob("*") if p.is_file() and p.suffix not in (".py", ".pyc", ".nbi", ".nbc")}
    assert there == shipped


def test_ci_ends_with_the_tests():
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111
    assert "make --no-print-directory test" in (ROOT / ".ci" / "run").read_text("utf-8")


MIDDLE = ("circuit", "evaluation", "physics", "plan", "rehearsal", "report", "settings", "traces.py")
"""The pure middle, and what shows it: here nothing is recovered from a text that was made here."""

TAKES_APART = {
    *("partition", "rpartition", "split", "rsplit", "splitlines"),
    *("startswith", "endswith", "removeprefix", "removesuffix"),
}
OF_RE = {"findall", "finditer", "fullmatch", "match", "search", "split", "sub"}

TAKEN_APART = {
    "evaluation/reference.py": (2, "a measure's docstring is its definition in the reference"),
    "report/build.py": (1, "a step's name becomes the name of a file"),
    "report/figures.py": (1, "a printed zero has no sign"),
    "report/outputs_off.py": (1, "what a person wrote may begin with 'because' or not"),
    "report/sheet.py": (2, "typography; which voltages findings tell, as rules do not yet give them"),
    "report/sheet_page.py": (1, "the size of a drawing is in its SVG alone"),
    "report/text.py": (2, "typography: blanks, and capitals at the beginning of a sentence"),
    "settings/rehearsed/voltages.py": (1, "what a peak is of"),
    "settings/rule.py": (2, "a rule's docstring is its title"),
    "settings/rules/requirements.py": (1, "what a peak is of"),
    "waveforms/standards/figures.py": (1, "levels I to IV are keys of a data file"),
}
"""File -> how often it takes a text apart, and why it may."""


def test_the_middle_takes_no_text_apart():
    """A fact that a program needs is a field: of an event its kind, of an output its supply, of an assumption
    its subject. Who takes a text apart says so in the list, with the reason.
    """
    found = {}
    package = ROOT / "src" / "railwright"
    for path in SOURCES:
        name = path.relative_to(package).as_posix()
        if not name.startswith(MIDDLE) and name not in TAKEN_APART:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            of_re = isinstance(node.func.value, ast.Name) and node.func.value.id == "re"
            if node.func.attr in (OF_RE if of_re else TAKES_APART):
                found[name] = found.get(name, 0) + 1
    assert found == {name: count for name, (count, _) in TAKEN_APART.items()}
