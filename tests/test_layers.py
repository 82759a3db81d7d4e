"""The walls of the program: which module may import which, as DEVELOPERS.md draws them."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# First matching name wins; a module may import its own layer and what stands above it.
LAYERS = (
    ("sim.errors", "sim.quantity", "sim.constants", "sim.columns", "sim.paths", "sim.tables"),
    ("sim.measured.touchstone", "sim.antenna", "sim.noise", "sim.feedline", "sim.opamp", "sim.array.pattern"),
    ("sim.study",),
    ("sim.sampling",),
    ("sim.deck",),
    ("sim.engine",),
    ("sim.distortion",),
    ("sim.measures", "sim.stability"),
    ("sim.summary", "sim.array", "sim.measured", "sim.order", "sim.diagnosis", "sim.inspection"),
    ("sim.plots", "sim.report"),
    ("sim.steps",),
    ("sim.commands",),
    ("sim.cli",),
)


def _modules() -> dict[str, ast.Module]:
    """Syntax trees of all modules that hold code, by dotted name."""
    found = {}
    for path in sorted((ROOT / "sim").rglob("*.py")):
        words = path.relative_to(ROOT).with_suffix("").parts
        name = ".".join(words[:-1] if words[-1] == "__init__" else words)
        found[name] = ast.parse(path.read_text(encoding="utf-8"), str(path))
    return found


def _imports(name: str, tree: ast.Module, known) -> set[str]:
    """Modules of this program that a module imports anywhere, inside functions too."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.split(".")[0] == "sim"}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} line {node.lineno}: relative import; write the whole name"
            if (node.module or "").split(".")[0] == "sim":
                # "from sim import paths" imports a module, "from sim.paths import CIRCUITS" takes a name out of one.
                found |= {
                    f"{node.module}.{alias.name}" if f"{node.module}.{alias.name}" in known else node.module
                    for alias in node.names
                }
    return found - {name}


def _layer(name: str) -> int | None:
    for number, names in enumerate(LAYERS):
        if any(name == known or name.startswith(f"{known}.") for known in names):
            return number
    return None


@pytest.fixture(scope="module")
def imports() -> dict[str, set[str]]:
    """What each module imports of this program."""
    modules = _modules()
    return {name: _imports(name, tree, modules) for name, tree in modules.items()}


def _upward(imports: dict[str, set[str]]) -> list[str]:
    """Imports of a later layer than the importer's own."""
    return [
        f"{name} imports {other}"
        for name, others in sorted(imports.items())
        for other in sorted(others)
        if name != "sim" and _layer(other) is not None and _layer(name) < _layer(other)
    ]


def test_every_module_has_a_layer(imports):
    """A new package must be given its place before it can be used."""
    assert [name for name in imports if name != "sim" and _layer(name) is None] == []


def test_imported_modules_exist(imports):
    """Imports inside functions are found by this test, not by the first user who gets there."""
    assert {other for others in imports.values() for other in others} <= set(imports)


def test_no_cycle(imports):
    """No module imports itself through others, not even inside a function."""
    try:
        order = list(TopologicalSorter(imports).static_order())
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))
    assert order.index("sim.errors") < order.index("sim.cli")


def test_no_import_of_a_later_layer(imports):
    """The core never reaches for steps, pictures or commands, nor any layer for one below it."""
    assert _upward(imports) == []


def test_study_builds_on_nothing_but_basics_and_models(imports):
    """What a study says does not depend on how it is simulated."""
    reached = set().union(*(others for name, others in imports.items() if name.startswith("sim.study")))
    assert {_layer(name) for name in reached} <= {0, 1, 2}


def test_the_walker_finds_what_it_should():
    """A cycle, an upward import and an import inside a function are seen in invented modules."""
    trees = {
        "sim.quantity": ast.parse("def f():\n    from sim.steps import layout\n"),
        "sim.steps.layout": ast.parse("import sim.quantity\n"),
    }
    found = {name: _imports(name, tree, trees) for name, tree in trees.items()}
    assert found == {"sim.quantity": {"sim.steps.layout"}, "sim.steps.layout": {"sim.quantity"}}
    assert _upward(found) == ["sim.quantity imports sim.steps.layout"]
    with pytest.raises(CycleError):
        list(TopologicalSorter(found).static_order())
