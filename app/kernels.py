"""Compiling ahead for any kind of samples: ``python -m palpate.app.kernels KIND...``.

A kind is the sample type of the z channel and of the signal, such as ``int16`` or
``float32-float64``; with ``+later`` behind it, what is not needed for a first picture. No Qt here:
this runs in a child process.
"""

from __future__ import annotations

import os
import sys
import threading
from typing import Any

USUAL = ("int16", "float64")
"""The kinds that are compiled before any map is opened."""
AFTERWARDS = tuple(f"{kind}+later" for kind in USUAL)
"""What is compiled when nobody waits."""


def kind_of(fmap: Any) -> str:
    """The kind of a map's samples; one word if both channels are alike."""
    z, signal = str(fmap.parts.z_dtype), str(fmap.parts.signal_dtype)
    return z if z == signal else f"{z}-{signal}"


def is_compiled(kind: str) -> bool:
    """Whether the kernels for a kind are in the disk cache."""
    from ..core.warm import is_warm

    return is_warm(kind)


def compile_kind(kind: str) -> None:
    """Compile every kernel for a kind into the disk cache and leave the mark for `is_compiled`."""
    from ..core import warm

    if kind in USUAL:
        warm.warm(kind)
        return
    if kind in AFTERWARDS:
        if hasattr(os, "nice"):  # nobody waits for it
            os.nice(10)
        warm.warm_later(kind.removesuffix(warm.AFTERWARDS))
        return
    from ..core.explain import explain
    from ..core.pipeline import analyse

    fmap = _tiny_map(*kind.partition("-")[::2])
    analyse(fmap)
    explain(fmap, warm_settings(), 0, 0)
    warm.mark_of(kind).touch()


def warm_settings() -> Any:
    from ..core.settings import Settings

    return Settings()


def _tiny_map(z_type: str, signal_type: str) -> Any:
    """One invented curve whose channels have these sample types."""
    from dataclasses import replace

    import numpy as np

    from ..core.forcemap import ForceMap
    from ..core.packing import ArraySource, pack

    z = np.linspace(-200.0, 20.0, 128)
    d = np.where(z > 0, 0.8 * z, 0.0) + 0.01 * np.cos(9 * z)
    parts, z_raw, d_raw = pack(
        np.stack([z, z[::-1]])[None], np.stack([d, d[::-1]])[None],
        shape=(1, 1), spring_constant=1.0, radius=20.0,
    )  # fmt: skip
    types = np.dtype(z_type), np.dtype(signal_type or z_type)
    z_raw, d_raw = z_raw.astype(types[0]), (10 * d_raw).astype(types[1])
    parts = replace(parts, z_dtype=types[0], signal_dtype=types[1], signal_scale=0.1)
    fmap = ForceMap(parts, ArraySource(z_raw, d_raw))
    fmap.load()
    return fmap


WITH_PARENT = "--with-parent"
"""Ends the child as soon as its input does: when the window is killed, nobody waits any more."""


def end_with_parent() -> None:
    """Leave this process once the pipe from the parent is closed, whatever is being compiled."""

    def watch() -> None:
        while sys.stdin.buffer.read(1):
            pass
        os._exit(1)

    threading.Thread(target=watch, name="palpate-parent", daemon=True).start()


def main(kinds: list[str]) -> int:
    if WITH_PARENT in kinds:
        kinds = [kind for kind in kinds if kind != WITH_PARENT]
        end_with_parent()
    for kind in kinds or USUAL:
        if not is_compiled(kind):
            compile_kind(kind)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
