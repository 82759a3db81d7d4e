"""Rules that hold for every module: docstrings, printing, what may be imported where, no path of one machine."""

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted((ROOT / "sim").rglob("*.py"))
TREES = {path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}

MAY_PRINT = ("sim/commands/", "sim/steps/", "sim/cli.py")
SOLE_USERS = {"PySpice": "sim/engine/ngspice.py", "skrf": "sim/measured/touchstone.py"}
HEAVY = ("pandas", "matplotlib", "scipy.special", "scipy.stats", "skrf", "snakemake", "PySpice")
LISTS = ("circuits", "opamps", "antennas", "cables", "noise", "measures")
COMMANDS = ("run", "check", "list", "export", "inspect", "judge", "match", "order", "try", "new")

# ---------------------------------------------------------------------- docstrings


def _public(tree: ast.Module):
    """Public functions and classes of a module, and public methods of public classes, with their dotted names."""
    pending = [("", node) for node in tree.body]
    while pending:
        before, node = pending.pop(0)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield before + node.name, node
            if isinstance(node, ast.ClassDef):
                pending += [(f"{before}{node.name}.", inner) for inner in node.body]


def _arguments(node) -> list[str]:
    given = node.args
    names = [argument.arg for argument in (*given.posonlyargs, *given.args)]
    names += [given.vararg.arg] if given.vararg else []
    names += [argument.arg for argument in given.kwonlyargs]
    names += [given.kwarg.arg] if given.kwarg else []
    return [name for name in names if name not in ("self", "cls")]


def _documented(docstring: str) -> list[str] | None:
    """Names of the Parameters section, in order; None without one."""
    lines = docstring.splitlines()
    starts = [i for i, line in enumerate(lines) if line.strip() == "Parameters" and lines[i + 1 : i + 2]]
    if not starts:
        return None
    names = []
    for line, after in zip(lines[starts[0] + 2 :], [*lines[starts[0] + 3 :], ""], strict=True):
        if line and not line[0].isspace() and set(after.strip()) == {"-"}:
            break
        match = re.fullmatch(r"(\*{0,2}\w+(?:, \*{0,2}\w+)*)(?: : .*)?", line)
        if match:
            names += [name.lstrip("*") for name in match[1].split(", ")]
    return names


def _undocumented(tree: ast.Module) -> list[str]:
    return [name for name, node in _public(tree) if not (ast.get_docstring(node) or "").strip()]


def _misdocumented(tree: ast.Module) -> list[str]:
    """Functions of two arguments or more whose Parameters section names others than they have."""
    wrong = []
    for name, node in _public(tree):
        if isinstance(node, ast.ClassDef):
            continue
        documented = _documented(ast.get_docstring(node) or "")
        if documented is not None and len(_arguments(node)) >= 2 and sorted(documented) != sorted(_arguments(node)):
            wrong.append(f"{name}{tuple(_arguments(node))} documents {tuple(documented)}")
    return wrong


@pytest.mark.parametrize("name", TREES)
def test_everything_public_has_a_docstring(name):
    """Whoever calls a function or class from another module can read what it is."""
    assert (ast.get_docstring(TREES[name]) or "").strip(), "the module itself"
    assert _undocumented(TREES[name]) == []


@pytest.mark.parametrize("name", TREES)
def test_parameters_sections_name_all_arguments(name):
    """A section on parameters is complete, and says nothing of arguments that are gone."""
    assert _misdocumented(TREES[name]) == []


def test_the_reader_of_docstrings_finds_what_it_should():
    """Missing docstrings, missing arguments and left-over ones are seen in an invented module."""
    text = '''
def bare(a):
    pass
def short(a, *, b):
    """Says.

    Parameters
    ----------
    a : float
        Of the b : kind. [m]
    gone, lost : int

    Returns
    -------
    c : float
    """
def whole(a, *rest, b=1, **more):
    """Says.

    Parameters
    ----------
    a, b : float
    *rest
        All others.
    **more : dict
    """
class Thing:
    """Is."""
    def act(self):
        pass
    def _own(self):
        pass
'''
    tree = ast.parse(text)
    assert _undocumented(tree) == ["bare", "Thing.act"]
    assert _misdocumented(tree) == ["short('a', 'b') documents ('a', 'gone', 'lost')"]


# ---------------------------------------------------------------------- printing and imports


def _prints(tree: ast.Module) -> list[int]:
    """Lines on which a module writes to the terminal."""
    lines = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print":
            lines.append(node.lineno)
        if isinstance(node, ast.Attribute) and ast.unparse(node) in ("sys.stdout", "sys.stderr"):
            lines.append(node.lineno)
    return lines


def _imported(tree: ast.Module) -> set[str]:
    """Top-level packages that a module imports anywhere."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module.split(".")[0])
    return names


def test_only_the_surface_prints():
    """The core hands back values; steps, commands and the command line speak."""
    silent = {name: tree for name, tree in TREES.items() if not name.startswith(MAY_PRINT)}
    assert {name: lines for name, tree in silent.items() if (lines := _prints(tree))} == {}
    assert any(_prints(tree) for name, tree in TREES.items() if name.startswith(MAY_PRINT))


@pytest.mark.parametrize("package", SOLE_USERS)
def test_sole_users(package):
    """A package that could be replaced one day is known to one module."""
    users = {name for name, tree in TREES.items() if package in _imported(tree)}
    assert users <= {SOLE_USERS[package]}
    if SOLE_USERS[package] in TREES:
        assert users, "the module that may use it does not"


def _loaded(code: str) -> set[str]:
    """Heavy packages that are loaded once some code has run in a fresh interpreter."""
    shown = f"import sys\n{code}\nprint('loaded', *(name for name in {HEAVY!r} if name in sys.modules))"
    command = [sys.executable, "-c", shown]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.splitlines()[-1].split()[1:])


def test_commands_import_nothing_heavy():
    """Help, and the modules of all commands, are there at once; what a run needs is loaded by the run."""
    modules = [path.stem for path in (ROOT / "sim" / "commands").glob("[!_]*.py")]
    imports = "\n".join(f"import sim.commands.{name}" for name in modules)
    calls = [
        "import sim.cli",
        "for words in ([], *([name] for name in " + repr(COMMANDS) + ")):",
        "    try:",
        "        sim.cli.main([*words, '--help'])",
        "    except SystemExit as done:",
        "        assert not done.code, done.code",
    ]
    assert _loaded(imports + "\n" + "\n".join(calls)) == set()


def test_check_and_list_load_nothing_heavy():
    """Explaining a study and listing choices take no table, picture or simulator package."""
    calls = ["import sim.cli", "assert sim.cli.main(['check', 'studies/marsh-square.toml']) == 0"]
    assert _loaded("\n".join(calls)) == set()
    calls = ["import sim.cli", *(f"assert sim.cli.main(['list', {what!r}]) == 0" for what in LISTS)]
    # Losses of cables by construction are Bessel functions.
    assert _loaded("\n".join(calls)) <= {"scipy.special"}


def test_the_watch_on_imports_would_see_one():
    """The check above can fail."""
    assert _loaded("import scipy.special") == {"scipy.special"}


# ---------------------------------------------------------------------- the terminal


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_tables_fit_the_terminal(columns):
    """Nothing that a study's reader needs is cut off or runs over, however narrow the window."""
    calls = ["import sim.cli", "assert sim.cli.main(['check', 'studies/marsh-square.toml']) == 0"]
    calls += [f"assert sim.cli.main(['list', {what!r}]) == 0" for what in LISTS]
    done = subprocess.run(
        [sys.executable, "-c", "\n".join(calls)],
        cwd=ROOT,
        env={**os.environ, "COLUMNS": str(columns), "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert [line for line in lines if len(line) > columns] == []
    assert [line for line in lines if "…" in line] == []
    words = set(done.stdout.split())
    # One whole word each of the drawing, the parts, the scenarios, the limits and every list.
    assert words >= {"transimpedance", "Rin", "thick-film", "rg6-ccs-10um", "match_phase_deg", "-0.19..0.19"}
    assert words >= {"voltage-follower", "ADA4817-1", "ground_loss", "rg59-ccs", "quiet-rural", "antenna_factor_db"}


# ---------------------------------------------------------------------- paths


# Folders of whoever wrote something; the pattern does not match its own spelling.
MACHINE_PATH = re.compile(r"(?<![\w.])/(?:work|root|home/\w+|tmp/\w+|Users/\w+)/")


def _tracked() -> list[Path]:
    if shutil.which("git") is None:
        pytest.skip("git is not installed, so nobody knows what is kept")
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if done.returncode != 0:
        pytest.skip("not a git checkout")
    return [ROOT / name for name in done.stdout.decode().split("\0") if name]


def test_no_path_of_one_machine():
    """Nothing that is kept points into the folders of whoever wrote it."""
    found = []
    for path in _tracked():
        try:
            text = path.read_text(encoding="utf-8")
        except (UnicodeDecodeError, OSError):
            continue
        for number, line in enumerate(text.splitlines(), start=1):
            if match := MACHINE_PATH.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {match[0]}")
    assert found == []
