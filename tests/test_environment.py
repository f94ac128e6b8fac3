"""The ground the project stands on: the Qt binding, the rooms and their imports, the wheel."""

from __future__ import annotations

import ast
import importlib.util
import runpy
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP = ("app", "core", "icons", "sample_maps")

# The rooms of core in the order of their dependence: each imports only from those before it.
ROOMS = (
    "errors",
    "units",
    "progress",
    "compiled",
    "mapparts",
    "packing",
    "forcemap",
    "sections",
    "settings",
    "decisions",
    "readers",
    "writers",
    "models",
    "columns",
    "steps",
    "channels",
    "neighbours",
    "doubts",
    "calibration",
    "analysis",
    "curvereport",
    "curveaxes",
    "pipeline",
    "corrections",
    "explain",
    "ensemble",
    "contacts",
    "advice",
    "comparison",
    "holding",
    "rates",
    "uncertainty",
    "reference",
    "shapes",
    "surface",
    "places",
    "pictures",
    "components",
    "mapdoubts",
    "fields",
    "review",
    "warm",
    "simulate",
    "simulate_relaxing",
    "simulate_spoils",
    "rehearsal",
    "sheets",
    "work",
    "journal",
    "workfile",
    "reopening",
    "findings",
    "colours",
    "figures",
    "methods",
    "exporting",
    "report",
    "pack",
    "cli",
)


# ---- the Qt binding


@pytest.mark.skipif(
    sys.version_info >= (3, 12), reason="None is immortal from Python 3.12 on: no count to lose"
)
def test_void_calls_of_the_qt_binding_do_not_lose_references_to_none():
    """PySide6 6.12.0 on CPython 3.11 loses one at each call and aborts the interpreter later."""
    from PySide6.QtCore import QObject

    thing = QObject()
    before = sys.getrefcount(None)
    for _ in range(1000):
        thing.setObjectName("palpate")
    assert sys.getrefcount(None) > before - 100


# ---- what core may load

LOAD_CORE = """
import importlib, pkgutil, sys
import palpate.core
names = [m.name for m in pkgutil.walk_packages(palpate.core.__path__, "palpate.core.")]
for name in names:
    if not name.endswith(".__main__"):
        importlib.import_module(name)
print(len(names), *sorted({name.split(".")[0] for name in sys.modules}))
"""


def test_loading_all_of_core_loads_neither_qt_nor_matplotlib():
    done = subprocess.run(
        [sys.executable, "-P", "-c", LOAD_CORE], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    count, *loaded = done.stdout.split()
    files = [path for path in python_files(ROOT, "core") if path.name != "__init__.py"]
    assert int(count) >= len(files), "some modules of core were not walked"
    assert not {"PySide6", "shiboken6", "pyqtgraph", "matplotlib"} & set(loaded)


# ---- who imports whom


def python_files(root: Path, room: str) -> list[Path]:
    return sorted(p for p in (root / room).rglob("*.py") if "__pycache__" not in p.parts)


def imports(path: Path, root: Path) -> Iterator[tuple[int, str]]:
    """Each import of a file, inside functions too: its line, and the dotted name it asks for,
    counted from the top level (`from ..core import x` in app gives `core.x`)."""
    package = path.relative_to(root).parent.parts
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name.removeprefix("palpate.")
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            module = tuple(node.module.split(".")) if node.module else ()
            for alias in node.names:
                asked = ".".join((*base, *module, alias.name))
                yield node.lineno, asked.removeprefix("palpate.")


def absolute_imports(path: Path) -> Iterator[int]:
    """Lines that name our own packages from the top, instead of relatively."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and node.level == 0:
            names = [node.module or ""]
        if any(name.split(".")[0] in ("palpate", *TOP) for name in names):
            yield node.lineno


def room_of(path: Path, root: Path) -> str:
    return path.relative_to(root / "core").with_suffix("").parts[0]


def faults_of_core(root: Path) -> list[str]:
    """One line for each import of core that does not go to itself or to an earlier room."""
    faults = []
    for path in python_files(root, "core"):
        room = room_of(path, root)
        if room == "__init__":  # the door of the package shows what it likes
            continue
        if room not in ROOMS:
            faults.append(f"core/{room} is not in the list of rooms: give it its place there")
            continue
        for line, asked in imports(path, root):
            top, _, rest = asked.partition(".")
            target = rest.split(".")[0]
            earlier = target == room or target in ROOMS[: ROOMS.index(room)]
            if top in ("app", "icons") or (top == "core" and not earlier):
                faults.append(f"{path.relative_to(root)}:{line} imports {asked}")
    return faults


def test_core_imports_only_from_earlier_rooms_and_never_from_app():
    assert faults_of_core(ROOT) == []


@pytest.mark.parametrize(
    ("where", "text", "fault"),
    [
        ("core/units.py", "from .settings import Settings", "core.settings.Settings"),
        ("core/units.py", "def f():\n    from . import pipeline", "core.pipeline"),
        ("core/steps/fit.py", "from ..pipeline import run", "core.pipeline.run"),
        ("core/steps/fit.py", "from ...app import session", "app.session"),
        ("core/steps/fit.py", "import palpate.app.session", "app.session"),
        ("core/steps/fit.py", "from palpate.core.cli import main", "core.cli.main"),
        ("core/steps/fit.py", "from .. import analyse", "core.analyse"),
        ("core/attic.py", "", "core/attic is not in the list"),
        ("core/steps/fit.py", "from ..units import x\nfrom . import tools", ""),
        ("core/cli.py", "from . import pipeline\nfrom .steps.fit import x", ""),
        ("core/__init__.py", "from .pipeline import analyse", ""),
    ],
)
def test_the_check_of_the_rooms_sees_each_kind_of_fault(tmp_path, where, text, fault):
    path = tmp_path / where
    path.parent.mkdir(parents=True)
    path.write_text(text, encoding="utf-8")
    faults = faults_of_core(tmp_path)
    assert len(faults) == bool(fault)
    assert fault in "".join(faults)


def test_our_own_packages_import_each_other_relatively():
    """Editors and checkers follow relative imports by folder; `import core` works nowhere else."""
    files = python_files(ROOT, "app") + python_files(ROOT, "core") + python_files(ROOT, "icons")
    faults = [f"{p.relative_to(ROOT)}:{line}" for p in files for line in absolute_imports(p)]
    assert faults == []


# ---- what is installed


def packages_of_setup(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The list of packages that setup.py hands over."""
    import setuptools

    handed: dict = {}
    monkeypatch.chdir(ROOT)
    monkeypatch.setattr(setuptools, "setup", lambda **given: handed.update(given))
    runpy.run_path(str(ROOT / "setup.py"))
    return handed["packages"]


def test_every_folder_of_python_files_is_a_package_that_setup_knows(monkeypatch):
    folders = {path.parent for top in TOP for path in python_files(ROOT, top)}
    assert [f for f in folders if not (f / "__init__.py").exists()] == []
    expected = {"palpate." + ".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert set(packages_of_setup(monkeypatch)) == expected


def content_of_wheel(folder: Path) -> set[str]:
    """Build the wheel from a copy of the tree, without a network; the names of its files."""
    tree = folder / "tree"
    for top in TOP:
        shutil.copytree(ROOT / top, tree / top, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "setup.py", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, tree / name)
    command = [sys.executable, "-P", "-m", "pip", "wheel", "--no-deps", "--no-build-isolation"]
    command += ["--no-index", "--wheel-dir", str(folder), str(tree)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)
    assert done.returncode == 0, done.stdout + done.stderr
    with zipfile.ZipFile(next(folder.glob("palpate-*.whl"))) as wheel:
        return set(wheel.namelist())


def test_the_wheel_holds_every_file_of_the_four_folders_and_nothing_else(tmp_path):
    held = content_of_wheel(tmp_path)
    files = [p for top in TOP for p in (ROOT / top).rglob("*") if p.is_file()]
    shipped = [p for p in files if "__pycache__" not in p.parts and not p.name.startswith(".")]
    expected = {"palpate/" + p.relative_to(ROOT).as_posix() for p in shipped}
    assert any(name.startswith("palpate/icons/") and name.endswith(".svg") for name in expected)
    assert any(name.startswith("palpate/sample_maps/") for name in expected)
    inside = {name for name in held if ".dist-info/" not in name}
    assert inside == expected
    assert any(name.endswith("/licenses/LICENSE") for name in held)


# ---- the start script


def start_script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("palpate_start", ROOT / "start.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_start_script_is_readable_by_python_3_8_and_needs_the_standard_library_alone():
    """An old Python must get far enough to say which one is needed."""
    tree = ast.parse((ROOT / "start.py").read_text(encoding="utf-8"), feature_version=(3, 8))
    nodes = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    named = {a.name for n in nodes if isinstance(n, ast.Import) for a in n.names}
    named |= {n.module for n in nodes if isinstance(n, ast.ImportFrom)}
    assert {name.split(".")[0] for name in named} <= set(sys.stdlib_module_names)


def test_the_start_script_opens_a_sample_that_has_its_calibration():
    from palpate.core import open_map

    path = start_script().chosen_map(None)
    recorded = open_map(path).recorded
    assert recorded.spring_constant
    assert recorded.deflection_sensitivity
    assert recorded.radius


def test_the_start_script_takes_the_package_name_that_the_release_knows(monkeypatch):
    """The GLib package got another name in Debian 13 and Ubuntu 24.04."""
    start = start_script()
    wanted = dict(pair.split(":") for pair in start.QT_LIBRARIES.split())
    for known in ("libglib2.0-0", "libglib2.0-0t64"):
        monkeypatch.setattr(start, "known_package", known.__eq__)
        assert start.library_packages(wanted, ["libglib-2.0.so.0"]) == [known]
    monkeypatch.setattr(start, "known_package", lambda name: False)
    found = start.library_packages(
        wanted, ["libgthread-2.0.so.0", "libglib-2.0.so.0", "libEGL.so.1"]
    )
    assert found == ["libglib2.0-0", "libegl1"]


def test_variables_of_other_environments_do_not_reach_ours(monkeypatch):
    for name in ("PYTHONPATH", "VIRTUAL_ENV", "PIP_TARGET", "QT_PLUGIN_PATH"):
        monkeypatch.setenv(name, "elsewhere")
    monkeypatch.setenv("PIP_PROXY", "kept")
    environ = start_script().clean_environ()
    assert "elsewhere" not in environ.values()
    assert environ["PIP_PROXY"] == "kept"


# ---- icons


def test_every_icon_is_sound_xml_with_the_one_colour_that_the_theme_replaces():
    from xml.etree import ElementTree

    from palpate import icons

    assert len(icons.names()) > 20
    for name in icons.names():
        root = ElementTree.parse(icons.path(name)).getroot()
        colours = {e.get(key) for e in root.iter() for key in ("fill", "stroke")} - {None, "none"}
        if name != "palpate":
            assert colours == {"#000000"}, name
            assert root.get("viewBox") == "0 0 24 24", name
    with pytest.raises(KeyError, match="no icon 'nothing'"):
        icons.path("nothing")
