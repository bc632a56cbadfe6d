"""Imports go one way, rooms stay small, paths stay short, and starting the command is light."""

import subprocess
import sys
from functools import cache
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("stripread", "calibration", "service")
ROOM_SIZE = 16  # files that a person still sees at a glance
LARGER_ROOMS = {"calibration": 18}  # flat, as the owner wants it
# Files on the longest chain of imports that run, from a reading down to one that needs no other. A name that only the
# type checker needs is no floor: it is not loaded, and the layers above count it as an arrow all the same.
FLOORS = {"ph": 11, "tint": 10, "solid": 10}  # of ph, the last three are those of the words in languages
LINT = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"


@cache
def _graph() -> grimp.ImportGraph:
    return grimp.build_graph(*PACKAGES, exclude_type_checking_imports=False, cache_dir=None)


def test_contracts_hold():
    """The contracts stand in pyproject.toml under [tool.importlinter]."""
    call = [sys.executable, "-c", LINT]
    done = subprocess.run(call, cwd=ROOT, check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr


def _rooms() -> list[Path]:
    return sorted({path.parent for package in PACKAGES for path in (ROOT / package).rglob("*.py")})


def test_rooms_are_found():
    assert len(_rooms()) > 15


@pytest.mark.parametrize("room", _rooms(), ids=lambda room: str(room.relative_to(ROOT)))
def test_no_room_is_an_attic(room):
    files = [path.name for path in room.glob("*.py") if path.name != "__init__.py"]
    name = str(room.relative_to(ROOT))
    assert len(files) <= LARGER_ROOMS.get(name, ROOM_SIZE), f"{len(files)} files in {name}: two ideas in one room?"


def test_imports_are_absolute():
    relative = [
        f"{path.relative_to(ROOT)}: {line}"
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.lstrip().startswith("from .")
    ]
    assert not relative


def _longest_path_from(start: str) -> tuple[str, ...]:
    """The longest chain of imports that run, the module itself first. Packages' own files do not count."""
    graph = grimp.build_graph(*PACKAGES, exclude_type_checking_imports=True, cache_dir=None)
    packages = {parent for module in graph.modules for parent in [module.rpartition(".")[0]] if parent}

    @cache
    def below(module: str) -> tuple[str, ...]:
        targets = graph.find_modules_directly_imported_by(module) - packages
        return (module, *max((below(target) for target in targets), key=len, default=()))

    return below(start)


@pytest.mark.parametrize("reading", FLOORS)
def test_a_reading_is_understood_floor_by_floor(reading):
    path = _longest_path_from(f"stripread.{reading}.read")
    assert len(path) > 3
    assert len(path) <= FLOORS[reading], " -> ".join(path)


HEAVY = ["cv2", "scipy", "skimage", "matplotlib", "colormath", "fastapi", "sqlalchemy"]


@pytest.mark.parametrize("heavy", HEAVY)
def test_the_command_starts_without(heavy):
    code = f"import service.cli, sys; sys.exit({heavy!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_the_library_is_light_to_import():
    code = f"import stripread, sys; sys.exit(any(m in sys.modules for m in {[*HEAVY, 'numpy', 'PIL']!r}))"
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
