"""Palpate's own icons: simple shapes on a 24 x 24 grid, strokes of 1.75, one colour.

Every `#000000` stands for the text colour of the theme; the window puts it in while loading.
`palpate.svg` alone, the mark of the program, has its colours for good.
"""

from pathlib import Path

FOLDER = Path(__file__).resolve().parent


def names() -> list[str]:
    """Names of all icons, sorted."""
    return sorted(path.stem for path in FOLDER.glob("*.svg"))


def path(name: str) -> Path:
    """The file of an icon.

    Parameters
    ----------
    name : str
        Name without ending, such as ``"open"``.

    Raises
    ------
    KeyError
        There is no icon of that name; the message lists those that exist.
    """
    file = FOLDER / f"{name}.svg"
    if not file.is_file():
        raise KeyError(f"no icon {name!r}; there are: {', '.join(names())}")
    return file
