"""Imports run one way: service -> calibration -> stripread, and never in a circle; starting the command is light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ALLOWED = {
    "stripread": {"stripread"},
    "calibration": {"calibration", "stripread"},
    "service": {"service", "calibration", "stripread"},
}
PACKAGES = set(ALLOWED) | {"tests"}


def _modules():
    for package in ALLOWED:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def _imports(path: Path) -> set[str]:
    """Everything a file imports from this project, as dotted module names."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return {name for name in found if name.split(".")[0] in PACKAGES}


def test_arrows_point_one_way():
    wrong = [
        f"{module} imports {name}"
        for module, path in _modules()
        for name in _imports(path)
        if name.split(".")[0] not in ALLOWED[module.split(".")[0]]
    ]
    assert not wrong


def test_no_circles():
    modules = dict(_modules())
    graph = {m: {n for n in _imports(p) if n in modules and n != m} for m, p in modules.items()}
    # a package's __init__ is imported with each of its modules and holds nothing: not an arrow
    graph = {m: {n for n in targets if "." in n} for m, targets in graph.items()}
    done: set[str] = set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, "circle: " + " -> ".join([*path[path.index(module) :], module])
        if module in done:
            return
        for target in graph[module]:
            visit(target, (*path, module))
        done.add(module)

    for module in graph:
        visit(module, ())


@pytest.mark.parametrize("heavy", ["cv2", "scipy", "skimage", "matplotlib", "colormath", "fastapi", "sqlalchemy"])
def test_the_command_starts_without(heavy):
    code = f"import service.cli, sys; sys.exit({heavy!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_reading_does_not_load_what_it_does_not_use():
    code = (
        "import stripread.ph.read, sys;"
        "sys.exit(any(m in sys.modules for m in ('matplotlib', 'skimage', 'fastapi', 'colormath', 'reportlab')))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_help_names_every_command():
    call = [sys.executable, "-m", "service.cli", "--help"]
    out = subprocess.run(call, cwd=ROOT, check=True, capture_output=True, text=True)
    from service.cli import COMMANDS

    for name in COMMANDS:
        assert name in out.stdout
