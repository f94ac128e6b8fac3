"""The folders at the top install under one name.

A literal list of packages silently drops new sub-folders from the wheel, so the list is made by
walking the folders; everything else stands in pyproject.toml.
"""

from pathlib import Path

from setuptools import setup

ROOMS = ("app", "core", "icons", "sample_maps")


def packages() -> list[str]:
    found: list[str] = []
    for room in ROOMS:
        for init in sorted(Path(room).rglob("__init__.py")):
            found.append("palpate." + ".".join(init.parent.parts))
    return found


setup(
    packages=packages(),
    package_dir={f"palpate.{room}": room for room in ROOMS},
    package_data={
        "palpate.icons": ["*.svg", "*.png"],
        "palpate.sample_maps": ["*.h5"],
        "palpate.app.help": ["*.md"],
        "palpate.core.pack": ["licences/*.txt"],
        "palpate.core.figures": ["*.toml"],
    },
)
