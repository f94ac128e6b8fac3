#!/usr/bin/env python3
"""Set up Palpate and start it: `python3 start.py [MAP]`; or test it: `python3 start.py test`.

Standard library only, and readable by any Python from 3.8 on, so that it can always say what is
missing. The environment lies in `.venv` beside this file, or where PALPATE_ENV says.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent
ENV = Path(os.environ.get("PALPATE_ENV") or ROOT / ".venv").expanduser().absolute()
STAMP, LOG = ENV / "palpate-stamp.json", ENV / "palpate-install.log"
VERSIONS = ("3.13", "3.12", "3.11")
WINDOWS, LINUX = os.name == "nt", sys.platform.startswith("linux")
PYTHON = ENV / ("Scripts/python.exe" if WINDOWS else "bin/python")
FIRST_SAMPLE = "ski_boot.h5"  # calibrated, so every map can be shown
PARTS = "numpy scipy h5py numba tifffile tomli_w tqdm matplotlib pyqtgraph PySide6 palpate.core"
TEST_PARTS = "pytest pytestqt xdist hypothesis setuptools"
# Variables that would lead the environment, pip or Qt to somebody else's files.
STRAY = re.compile(
    r"PYTHON(PATH|HOME|STARTUP|USERBASE|WARNINGS|OPTIMIZE|PLATLIBDIR|INSPECT|PYCACHEPREFIX)"
    r"|VIRTUAL_ENV|__PYVENV_LAUNCHER__|CONDA_PREFIX|QT_PLUGIN_PATH|QT_QPA_PLATFORM_PLUGIN_PATH"
    r"|PIP_(TARGET|PREFIX|ROOT|PYTHON|NO_DEPS|DRY_RUN|REQUIRE_VIRTUALENV|NO_BUILD_ISOLATION)"
)
PROBE = """
import importlib, json, platform, struct, sys, sysconfig
bad = []
for name in ("venv", "ensurepip", "ssl", "ctypes", "zlib", "bz2", "lzma"):
    try:
        module = importlib.import_module(name)
        name == "ensurepip" and module.version()
    except Exception:
        bad.append(name)
usual = platform.python_implementation() == "CPython" and struct.calcsize("P") == 8
print(json.dumps({"version": "%d.%d" % sys.version_info[:2], "lacks": bad,
                  "usual": usual and not sysconfig.get_config_var("Py_GIL_DISABLED")}))
"""
LOADS = """
import ctypes, sys
for name in sys.argv[1:]:
    try: ctypes.CDLL(name)
    except OSError: print(name)
"""
FOUND = "import importlib.util as u, sys; sys.exit(any(not u.find_spec(n) for n in sys.argv[1:]))"
# What the Qt libraries of PySide6-Essentials ask the system for (their NEEDED entries), each with
# its package on Debian and Ubuntu; of two names the one is taken that the release knows.
QT_LIBRARIES = """
libEGL.so.1:libegl1 libGL.so.1:libgl1 libX11.so.6:libx11-6 libxkbcommon.so.0:libxkbcommon0
libfontconfig.so.1:libfontconfig1 libfreetype.so.6:libfreetype6 libdbus-1.so.3:libdbus-1-3
libglib-2.0.so.0:libglib2.0-0t64|libglib2.0-0 libgthread-2.0.so.0:libglib2.0-0t64|libglib2.0-0
libzstd.so.1:libzstd1 libz.so.1:zlib1g libstdc++.so.6:libstdc++6 libgcc_s.so.1:libgcc-s1
"""
X11_LIBRARIES = """
libX11-xcb.so.1:libx11-xcb1 libxkbcommon-x11.so.0:libxkbcommon-x11-0 libxcb.so.1:libxcb1
libxcb-cursor.so.0:libxcb-cursor0 libxcb-icccm.so.4:libxcb-icccm4 libxcb-image.so.0:libxcb-image0
libxcb-keysyms.so.1:libxcb-keysyms1 libxcb-randr.so.0:libxcb-randr0 libxcb-shm.so.0:libxcb-shm0
libxcb-render.so.0:libxcb-render0 libxcb-render-util.so.0:libxcb-render-util0
libxcb-shape.so.0:libxcb-shape0 libxcb-sync.so.1:libxcb-sync1 libxcb-util.so.1:libxcb-util1
libxcb-xfixes.so.0:libxcb-xfixes0 libxcb-xkb.so.1:libxcb-xkb1
"""
WAYLAND_LIBRARIES = """
libwayland-client.so.0:libwayland-client0 libwayland-cursor.so.0:libwayland-cursor0
"""


class SetUpError(Exception):
    """Something the person has to do; the message says what and how."""


def say(text: str) -> None:
    print(text, flush=True)


def clean_environ(**extra: str) -> dict[str, str]:
    """The person's environment variables, less those that mislead a virtual environment."""
    kept = {name: value for name, value in os.environ.items() if not STRAY.fullmatch(name)}
    return {**kept, "PYTHONNOUSERSITE": "1", "PIP_USER": "0", **extra}


def answer(command: list[str], errors: int = subprocess.DEVNULL, **extra: str) -> tuple[int, str]:
    """Run a command to its end: exit code (127: not there, or no answer) and what it printed."""
    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": errors}
    try:
        done = subprocess.run(command, env=clean_environ(**extra), timeout=1200, **pipes)
    except (OSError, subprocess.TimeoutExpired) as problem:
        return 127, str(problem)
    return done.returncode, done.stdout.decode("utf-8", "replace")


# ---- packages of the system


def may_install() -> bool:
    """Root on Debian, Ubuntu or a relative."""
    return has_apt() and hasattr(os, "geteuid") and os.geteuid() == 0


def has_apt() -> bool:
    return LINUX and shutil.which("apt-get") is not None


def known_package(name: str) -> bool:
    """True where the package lists of this system hold this very name."""
    return answer(["apt-cache", "show", "--no-all-versions", name])[0] == 0


def apt_line(packages: list[str]) -> str:
    names = " ".join(packages)
    return f"sudo apt-get update && sudo apt-get install -y --no-install-recommends {names}"


def apt(*words: str, repair: str = "") -> None:
    """Run apt-get as root without questions; where `repair` is given, a failure is an error."""
    say("apt-get " + " ".join(words))
    command = ["apt-get", "-y", "-qq", "-o", "DPkg::Lock::Timeout=120", *words]
    code, text = answer(command, subprocess.STDOUT, DEBIAN_FRONTEND="noninteractive")
    if code and repair:
        tail = "\n".join(text.splitlines()[-12:])
        raise SetUpError(f"{tail}\napt-get failed. Repair that, or type:\n  {repair}")


def apt_install(packages: list[str]) -> None:
    apt("install", "--no-install-recommends", *packages, repair=apt_line(packages))


# ---- Python


def candidates() -> list[list[str]]:
    """Commands that may be a suitable Python: the running one first, then newest first."""
    names = [f"python{version}" for version in VERSIONS] + ["python3", "python"]
    folders = [*os.environ.get("PATH", "").split(os.pathsep), "/usr/bin", "/usr/local/bin"]
    mac = "/Library/Frameworks/Python.framework/Versions"
    folders += ["/opt/homebrew/bin", *(f"{mac}/{version}/bin" for version in VERSIONS)]
    found = [sys.executable, *(shutil.which(n, path=f) for n in names for f in folders if f)]
    pyenv = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv")
    for version in VERSIONS:
        with contextlib.suppress(OSError):  # somebody else's folder
            found += map(str, pyenv.glob(f"versions/{version}.*/bin/python"))
            found += map(str, pyenv.glob(f"pyenv-win/versions/{version}.*/python.exe"))
    once: dict[Path, str] = {}
    for path in filter(None, found):
        once.setdefault(Path(path).resolve(), path)
    launcher = [["py", f"-{version}"] for version in VERSIONS if WINDOWS and shutil.which("py")]
    return [[path] for path in once.values()] + launcher


def probe(command: list[str]) -> dict | None:
    """What this Python says of itself, or None where it does not run."""
    code, text = answer([*command, "-I", "-c", PROBE])
    try:
        return json.loads(text.splitlines()[-1]) if code == 0 else None
    except (ValueError, IndexError):
        return None


def unfit(says: dict) -> str:
    """Why a Python can't carry Palpate; empty where it can."""
    if not says["usual"]:
        return "is not the usual 64-bit CPython that the libraries are made for"
    return f"lacks its modules {', '.join(says['lacks'])}" if says["lacks"] else ""


def try_pythons(notes: list[str]) -> bool:
    """Make the environment with the first Python that really can; note why the others can't."""
    for command in candidates():
        says = probe(command)
        if says is None or says["version"] not in VERSIONS:
            continue
        shown = f"Python {says['version']} ({' '.join(command)})"
        why = unfit(says)
        if not why:
            say(f"Making the environment with {shown} in {ENV}")
            make = [*command, "-I", "-m", "venv", "--clear", str(ENV)]
            code, text = answer(make, subprocess.STDOUT)
            if code == 0 and has_pip():
                return True
            why = f"could not make the environment: {' '.join(text.split())[-300:]}"
        notes.append(f"{shown} {why}")
    return False


def has_pip() -> bool:
    return answer([str(PYTHON), "-I", "-m", "pip", "--version"])[0] == 0


def python_packages() -> list[str]:
    """The packages for the newest suitable Python that this release of the system has."""
    for version in VERSIONS:
        if known_package(f"python{version}-venv"):
            return [f"python{version}", f"python{version}-venv"]
    return []


def no_python(notes: list[str]) -> SetUpError:
    """The error that says which line brings a Python."""
    line = "install Python 3.13 with the package manager of your system"
    if has_apt():
        line = apt_line(python_packages() or ["python3.11", "python3.11-venv"])
    elif LINUX and shutil.which("dnf"):
        line = "sudo dnf install -y python3.13"
    elif WINDOWS:
        line = "winget install --exact --id Python.Python.3.13"
    elif sys.platform == "darwin":
        line = "brew install python@3.13"
    seen = "".join(f"  {note}\n" for note in notes)
    head = "Palpate needs Python 3.11, 3.12 or 3.13 with venv and pip; none was found."
    return SetUpError(f"{head}\n{seen}Type this, then start again:\n  {line}")


# ---- system libraries


def check_libraries(table: str) -> None:
    """See that the loader finds each library; install the missing ones or say how."""
    wanted = dict(pair.split(":") for pair in table.split() if LINUX)
    missing = missing_libraries(wanted)
    if missing:
        say(f"Qt needs system libraries that are not here: {', '.join(missing)}")
    if missing and may_install():
        apt("update")
        apt_install(library_packages(wanted, missing))
        missing = missing_libraries(wanted)
    if missing:
        line = "install the packages of your system that hold " + ", ".join(missing)
        tools = [tool for tool in ("dnf", "zypper") if shutil.which(tool)]
        if has_apt():
            line = apt_line(library_packages(wanted, missing))
        elif tools:
            names = " ".join(f'"{name}()(64bit)"' for name in missing)
            line = f"sudo {tools[0]} install -y {names}"
        raise SetUpError(f"Type this, then start again:\n  {line}")


def missing_libraries(wanted: dict[str, str]) -> list[str]:
    """Names that the loader of this system does not find; asked in a new process each time."""
    code, text = answer([str(PYTHON), "-I", "-c", LOADS, *wanted])
    if code:
        raise SetUpError(f"{PYTHON} could not look for the system libraries. Delete {ENV}.")
    return text.split()


def library_packages(wanted: dict[str, str], missing: list[str]) -> list[str]:
    """The package of each missing library, under the name this release knows."""
    names = [wanted[library].split("|") for library in missing]
    return list(dict.fromkeys(next(filter(known_package, n), n[-1]) for n in names))


# ---- the environment


def wanted_stamp(extras: list[str], version: str) -> dict:
    """What the environment was made of; where it differs the project is installed again."""
    texts = [(ROOT / name).read_bytes() for name in ("pyproject.toml", "setup.py")]
    digest = hashlib.sha256(b"\0".join(texts)).hexdigest()
    place = [str(ROOT), str(ENV)]
    return {"project": digest, "python": version, "place": place, "extras": extras}


def read_stamp() -> dict:
    try:
        return json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def ready(extras: list[str]) -> bool:
    """True where the environment runs, is stamped for this very project and holds its parts."""
    says, stamp = probe([str(PYTHON)]), read_stamp()
    held = stamp.get("extras", [])
    if says is None or stamp != wanted_stamp(held, says["version"]) or set(extras) - set(held):
        return False
    parts = PARTS.split() + (TEST_PARTS.split() if extras else [])
    return answer([str(PYTHON), "-I", "-c", FOUND, *parts])[0] == 0


def make_venv(afresh: bool) -> None:
    """Keep an environment that runs and has pip; else make one, installing a Python if allowed."""
    says = probe([str(PYTHON)])
    sound = says and says["version"] in VERSIONS and not unfit(says) and has_pip()
    if sound and not afresh:
        return
    ENV.mkdir(parents=True, exist_ok=True)
    if ENV.parent != ROOT and any(ENV.iterdir()) and not (ENV / "pyvenv.cfg").exists():
        raise SetUpError(f"{ENV} holds other files. Set PALPATE_ENV to a new folder.")
    notes: list[str] = []
    made = try_pythons(notes)
    if not made and may_install():
        apt("update")
        packages = python_packages()
        if packages:
            apt_install(packages)
            notes.clear()
            made = try_pythons(notes)
    if not made:
        raise no_python(notes)


def set_up(extras: list[str], libraries: str) -> None:
    """See that environment and system libraries are there and complete; repair what is not."""
    if ready(extras):
        check_libraries(libraries)
        return
    extras = sorted({*extras, *read_stamp().get("extras", [])})
    STAMP.unlink(missing_ok=True)
    for afresh in (False, True):  # repaired first; made anew where that is not enough
        make_venv(afresh)
        check_libraries(libraries)
        pip_install(extras)
        says = probe([str(PYTHON)]) or {"version": ""}
        STAMP.write_text(json.dumps(wanted_stamp(extras, says["version"])), encoding="utf-8")
        if ready(extras):
            return
    STAMP.unlink()
    raise SetUpError(f"The environment is not complete. Delete {ENV} and start again.")


def pip_install(extras: list[str]) -> None:
    """Install the project, editable, naming each library; raises SetUpError with the tail."""
    target = f".[{','.join(extras)}]" if extras else "."
    command = [str(PYTHON), "-I", "-X", "utf8", "-u", "-m", "pip", "install", "--no-input", "-e"]
    say("Installing the libraries (the first time some 250 MB and some minutes) ...")
    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    lines: list[str] = []
    with subprocess.Popen([*command, target], cwd=ROOT, env=clean_environ(), **pipes) as pip:
        for raw in pip.stdout:
            lines.append(raw.decode("utf-8", "replace").rstrip())
            if lines[-1].startswith("Collecting "):
                say("  " + re.split("[^A-Za-z0-9._-]", lines[-1].split()[1])[0])
    LOG.write_text("\n".join(lines), encoding="utf-8")
    if pip.returncode:
        raise SetUpError("\n".join([*lines[-12:], pip_repair("\n".join(lines))]))


def pip_repair(text: str) -> str:
    """The likely repair, read from what pip printed."""
    repair = f"Delete the folder {ENV} and start again."
    if "No space left" in text:
        repair = "The disk is full: make room (about 1.5 GB), then start again."
    elif re.search(r"NewConnection|name resolution|timed out|ProxyError|unreachable", text):
        repair = "pip had no connection: check the network or the proxy, then start again."
    return f"\nThe libraries could not be installed. {repair}\nAll that pip said is in {LOG}"


# ---- what is started


def chosen_map(given: str | None) -> Path:
    """The map to open: the given one, or the first sample."""
    if given is not None:
        if not Path(given).is_file():
            raise SetUpError(f"There is no map file {given}. Check the name and the folder.")
        return Path(given).absolute()
    samples = [p for p in (ROOT / "sample_maps").glob("*.h5") if ".truth." not in p.name]
    if not samples:
        raise SetUpError("sample_maps/ holds no map. Name one: python3 start.py MAP")
    return min(samples, key=lambda path: (path.name != FIRST_SAMPLE, path.name))


def run(arguments: list[str], cwd: Path | None = None, **extra: str) -> int:
    """Run the environment's Python to its end; -P keeps the current folder out of its imports."""
    command = [str(PYTHON), "-P", *arguments]
    with subprocess.Popen(command, cwd=cwd, env=clean_environ(**extra)) as child:
        while True:
            try:
                return child.wait()
            except KeyboardInterrupt:  # the child got it too, and ends in its own way
                continue


def open_window(path: Path) -> int:
    """Show the workbench; plain words where the display refused."""
    say(f"Opening {path}")
    code = run(["-m", "palpate.app.main", str(path)])
    if code < 0:
        say(f"The window was ended by signal {-code}; perhaps the display can't be reached.")
        say("Without a window: python3 start.py --no-window")
    return code


def analyse_headless(path: Path) -> int:
    """The same analysis without a window; result and pictures in a folder that it names."""
    out = Path.cwd() / "palpate_results"
    if not os.access(Path.cwd(), os.W_OK):
        out = Path(tempfile.mkdtemp(prefix="palpate_results_"))
    out.mkdir(exist_ok=True)
    say(f"Analysing {path} without a window ...")
    words = ["analyse", str(path), "--out", f"{out}{os.sep}", "--pictures"]
    code = run(["-m", "palpate.core.cli", *words])
    say(f"Result and pictures are in {out}" if code == 0 else "The analysis failed; see above.")
    return code


def test(rest: list[str]) -> int:
    """Set up with the test libraries and run the tests; no display is needed."""
    set_up(["test"], QT_LIBRARIES)
    both = ["-n", "2", "--dist", "loadfile", "--no-loadscope-reorder"]  # a file stays together
    code = run(["-m", "pytest", *both, *rest], cwd=ROOT, QT_QPA_PLATFORM="offscreen")
    say("The tests passed." if code == 0 else "The tests did not pass.")
    return code


def start(given: str | None, window: bool) -> int:
    """Set up, then open the workbench, or analyse where there is no display."""
    path = chosen_map(given)
    x11, wayland = os.environ.get("DISPLAY"), os.environ.get("WAYLAND_DISPLAY")
    if window and LINUX and not (x11 or wayland):
        say("There is no display here (neither DISPLAY nor WAYLAND_DISPLAY is set).")
        window = False
    libraries = QT_LIBRARIES + X11_LIBRARIES * bool(x11) + WAYLAND_LIBRARIES * bool(wayland)
    set_up([], libraries if window else "")
    return open_window(path) if window else analyse_headless(path)


def main(argv: list[str]) -> int:
    """Exit code: 0 where all went well, 130 where it was stopped, else the child's or 1."""
    parser = argparse.ArgumentParser(
        prog="start.py",
        description="Set up Palpate and open it on a map of force-distance curves.",
        epilog="`python3 start.py test` sets up and runs the tests; what follows goes to pytest. "
        "PALPATE_ENV names another folder for the environment (else .venv).",
    )
    parser.add_argument("map", nargs="?", metavar="MAP", help="the map (else a sample map)")
    parser.add_argument("--no-window", action="store_true", help="analyse without a window")
    sys.stdout.reconfigure(errors="backslashreplace")
    try:
        if argv[:1] == ["test"]:
            return abs(test(argv[1:]))
        given = parser.parse_args(argv)
        return abs(start(given.map, not given.no_window))
    except SetUpError as problem:
        say(str(problem))
    except OSError as problem:
        say(f"{problem}\nCheck that the folder can be written, or set PALPATE_ENV to another one.")
    except KeyboardInterrupt:
        say("Stopped; start again to go on.")
        return 130
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
