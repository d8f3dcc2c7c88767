"""The house: what is pinned, what is shipped, and what no file may hold."""

import ast
import re
import subprocess
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from string import Formatter

import pytest
from tests.slow import QUICK, SLOW

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


MIDDLE = (
    "circuit",
    "evaluation",
    "measures",
    "physics",
    "plan",
    "rehearsal",
    "report",
    "settings",
    "traces.py",
)
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
    "report/subject.py": (1, "what a person wrote may begin with 'because' or not"),
    "report/sheet.py": (1, "typography"),
    "report/sheet_page.py": (1, "the size of a drawing is in its SVG alone"),
    "report/text.py": (2, "typography: blanks, and capitals at the beginning of a sentence"),
    "settings/rule.py": (2, "a rule's docstring is its title"),
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


def test_templates_name_their_parts():
    """`state` is called with one text and with the parts that it names, no more: looked at here, for a rule
    that is hardly ever broken is hardly ever run.
    """
    wrong, seen = [], 0
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "state":
                seen += 1
                template = node.args[0]
                assert isinstance(template, ast.Constant), f"{path}:{node.lineno}"
                named = {each for _, each, _, _ in Formatter().parse(template.value) if each is not None}
                if len(node.args) != 1 or named != {each.arg for each in node.keywords}:
                    wrong.append(f"{path.name}:{node.lineno}")
    assert seen
    assert wrong == []


OF_RULES = {"Hit": 2}
OF_SETTINGS = {"Constraint": 4, "End": 3, "Finding": 4, "Obstacle": 0, "Reason": 5, "threshold": 3}
"""What has a `why` -> as which of its arguments."""


def reasons(function: ast.AST, places: Mapping[str, int] = OF_RULES) -> list[ast.expr]:
    """What a function gives as the `why` of its hits, and what it assigns to the names in that."""
    calls = [each for each in ast.walk(function) if isinstance(each, ast.Call)]
    made = [(each, places[name]) for each in calls if (name := getattr(each.func, "id", "")) in places]
    open_ = [each.args[place] for each, place in made if len(each.args) > place]
    open_ += [each.value for call, _ in made for each in call.keywords if each.arg == "why"]
    assigned, found = assignments(function), []
    while open_:
        expression = open_.pop()
        found.append(expression)
        names = {each.id for each in ast.walk(expression) if isinstance(each, ast.Name)}
        open_ += [value for name in names for value in assigned.pop(name, [])]
    return found


def assignments(function: ast.AST) -> dict[str, list[ast.expr]]:
    """Name -> what a function assigns to it, where it assigns to that name alone or to a pair."""
    found: dict[str, list[ast.expr]] = {}
    for each in ast.walk(function):
        if isinstance(each, ast.AnnAssign | ast.AugAssign) and each.value is not None:
            pairs = [(each.target, each.value)]
        elif isinstance(each, ast.Assign):
            target, value = each.targets[0], each.value
            both = isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple)
            pairs = list(zip(target.elts, value.elts, strict=False)) if both else [(target, value)]
        else:
            continue
        for target, value in pairs:
            if isinstance(target, ast.Name):
                found.setdefault(target.id, []).append(value)
    return found


def lost_figures(tree: ast.AST) -> list[int]:
    """Lines of reasons that print a figure without keeping it: by an f-string, or by `show`."""
    functions = [each for each in ast.walk(tree) if isinstance(each, ast.FunctionDef)]
    within = [each for function in functions for reason in reasons(function) for each in ast.walk(reason)]
    return [
        each.lineno
        for each in within
        if isinstance(each, ast.JoinedStr)
        or (isinstance(each, ast.Call) and getattr(each.func, "id", "") == "show")
    ]


def test_the_reason_of_a_rule_keeps_its_figures():
    """A rule states its reason, so that nobody has to read a figure back out of the sentence."""
    for lost in ("f'{volts}'", "show(volts, 'V')", "state('{a}', a=show(volts, 'V'))"):
        assert lost_figures(ast.parse(f"def a_rule():\n    yield Hit('main', (), {lost}, 'mend it')")) == [2]
        hit = "yield Hit('main', (), remedy='mend it', why=state('{a}', a=part))"
        for part in (f"part: str = {lost}", f"part, other = {lost}, 1"):
            assert lost_figures(ast.parse(f"def a_rule():\n    {part}\n    {hit}")) == [2]
    found, seen = [], 0
    for package in ("rules", "rehearsed"):
        for path in sorted((ROOT / "src" / "railwright" / "settings" / package).glob("*.py")):
            tree = ast.parse(path.read_text("utf-8"))
            seen += len(reasons(tree))
            found += [f"{package}/{path.name}:{line}" for line in lost_figures(tree)]
    assert seen > 100
    assert found == []


def test_the_reasons_of_settings_keep_their_figures():
    """So do constraints, ends of windows, reasons and findings, and what speaks against a hook-up; a sentence
    without a figure may be an f-string there.
    """
    found, seen = [], 0
    settings = ROOT / "src" / "railwright" / "settings"
    for path in (each for each in SOURCES if each.is_relative_to(settings)):
        for function in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(function, ast.FunctionDef):
                continue
            for reason in reasons(function, OF_SETTINGS):
                seen += 1
                shown = [each for each in ast.walk(reason) if isinstance(each, ast.Call)]
                found += [
                    f"{path.name}:{each.lineno}" for each in shown if getattr(each.func, "id", "") == "show"
                ]
    assert seen > 100
    assert found == []


Def = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def trees_of_tests() -> dict[Path, ast.Module]:
    return {path: ast.parse(path.read_text("utf-8")) for path in sorted((ROOT / "tests").rglob("*.py"))}


def calls_of(node: ast.AST) -> set[str]:
    """Last names of what is called: `f` of `f()`, `module.f()` and `thing.f()`."""
    called = (each.func for each in ast.walk(node) if isinstance(each, ast.Call))
    return {each.id if isinstance(each, ast.Name) else getattr(each, "attr", "") for each in called}


def asserts(node: ast.AST, helpers: set[str]) -> bool:
    return any(isinstance(each, ast.Assert) for each in ast.walk(node)) or bool(calls_of(node) & helpers)


def within_reach(tree: ast.Module, asserting: dict[str, set[str]]) -> set[str]:
    """Names by which a module of the tests gets at functions that assert: its own, imported, methods."""
    names = set(asserting["methods"])
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tests."):
            names |= {each.name for each in node.names} & asserting.get(node.module, set())
    return names


def helpers_that_assert() -> dict[str, set[str]]:
    """Of each module of the tests, the functions that assert; under 'methods', those of its classes."""
    found: dict[str, set[str]] = {"methods": set()}
    module_of = {path: ".".join(path.relative_to(ROOT).with_suffix("").parts) for path in trees_of_tests()}
    while True:
        before = sum(map(len, found.values()))
        for path, tree in trees_of_tests().items():
            own = found.setdefault(module_of[path], set())
            reach = {"raises", "warns"} | own | within_reach(tree, found)
            own |= {each.name for each in tree.body if isinstance(each, Def) and asserts(each, reach)}
            for made in (each for each in tree.body if isinstance(each, ast.ClassDef)):
                # `__init__` of a fake asserts nothing about what is tested.
                tested = (each for each in made.body if isinstance(each, Def) and each.name[0] != "_")
                found["methods"] |= {each.name for each in tested if asserts(each, reach)}
        if sum(map(len, found.values())) == before:
            return found


def test_every_test_asserts_something():
    found, silent = helpers_that_assert(), []
    for path, tree in trees_of_tests().items():
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        reach = {"raises", "warns"} | found[module] | within_reach(tree, found)
        for node in ast.walk(tree):
            if isinstance(node, Def) and node.name.startswith("test_"):
                bodies = ast.Module(node.body, [])
                if not asserts(bodies, reach - {node.name}):
                    silent.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}")
    assert silent == []


def cannot_fail(test: ast.expr) -> bool:
    """Whether an assertion holds by its form: a constant, a tuple, 'x or True', a value equal to itself."""
    if isinstance(test, ast.Constant):
        return bool(test.value)
    if isinstance(test, ast.Tuple | ast.List | ast.Set | ast.JoinedStr):
        return True
    if isinstance(test, ast.BoolOp):
        holds = any if isinstance(test.op, ast.Or) else all
        return holds(cannot_fail(each) for each in test.values)
    if isinstance(test, ast.Compare) and isinstance(test.ops[0], ast.Eq | ast.LtE | ast.GtE | ast.Is):
        # What is called twice may give two things: then equality says that it does not.
        return not calls_of(test) and ast.dump(test.left) == ast.dump(test.comparators[0])
    return False


def test_no_assertion_holds_by_its_form():
    assert [cannot_fail(ast.parse(each, mode="eval").body) for each in ("(a, b)", "a or True", "a == a")] == [
        True
    ] * 3
    assert not any(cannot_fail(ast.parse(each, mode="eval").body) for each in ("a", "f() == f()", "a == b"))
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path, tree in trees_of_tests().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Assert) and cannot_fail(node.test)
    ]
    assert found == []


PROMISED = {
    "cli": "what a command prints",
    "documents": "the line for bad input",
    "recordings": "the line for bad input",
    "report": "the set-up sheet and the report",
    "external": "what other programs and standards say",
    "test_quantities.py": "the line for bad input",
    "test_job.py": "the line for bad input",
}
"""Where a whole text is the promise, and what it is. Elsewhere tests ask for ids and figures."""

SENTENCE = re.compile(r"(?:[A-Za-z]{2,}[,;:]? ){4}[^ ]*[a-z]{2}")


def texts(node: ast.expr) -> list[str]:
    """Texts that stand in one side of a comparison itself, not in what a function is called with."""
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else []
    if isinstance(node, ast.JoinedStr):
        return ["".join(each.value if isinstance(each, ast.Constant) else "x" for each in node.values)]
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return [text for each in node.elts for text in texts(each)]
    return []


def compared(node: ast.AST) -> list[str]:
    """Texts that an assertion compares something with."""
    found: list[str] = []
    for each in ast.walk(node):
        if isinstance(each, ast.Compare):
            found += [text for side in (each.left, *each.comparators) for text in texts(side)]
        elif isinstance(each, ast.Call) and getattr(each.func, "attr", "") in ("startswith", "endswith"):
            found += [text for side in each.args for text in texts(side)]
    return found


def test_sentences_are_asserted_only_where_they_are_the_promise():
    assert compared(ast.parse("assert 'it goes off in its order' in said and f(a) == 'b'")) != []
    found = []
    for path, tree in trees_of_tests().items():
        place = path.relative_to(ROOT / "tests")
        if place.parts[0] in PROMISED:
            continue
        for node in ast.walk(tree):
            said = compared(node) if isinstance(node, ast.Assert) else []
            if isinstance(node, ast.keyword) and node.arg == "match":
                said = texts(node.value)
            found += [f"{place}:{node.lineno}: {text}" for text in said if SENTENCE.search(text)]
    assert found == []


def test_what_is_slow_is_there_and_left_out_by_make():
    assert [name for name in SLOW if not (ROOT / "tests" / name).exists()] == []
    recipe = (ROOT / "Makefile").read_text("utf-8").partition("\ntest-fast:")[2].partition("\n\n")[0]
    assert f'-m "{QUICK}"' in recipe


def test_a_public_class_has_a_name_of_its_own():
    """One name, one meaning; the models of documents and the classes of the front door keep theirs."""
    found: dict[str, list[str]] = {}
    for path in SOURCES:
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert len(found) > 400
    assert {name: places for name, places in found.items() if len(places) > 1} == {}
