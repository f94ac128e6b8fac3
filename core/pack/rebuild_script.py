"""The script ``rebuild.py`` of a pack: it needs the standard library and Palpate."""

from __future__ import annotations

SCRIPT = '''#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Check this pack, and make its numbers again from the measured map.

    python rebuild.py                     checksums, then all numbers, made anew and compared
    python rebuild.py --map FILE          the same, if the measured map is not in the pack
    python rebuild.py --out FOLDER        also keep what was made anew, to look at
    python rebuild.py --checksums         the checksums alone; needs nothing but Python

The exit code is 0 only if everything that was compared is the same; what was not is named.
"""

import hashlib
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def digest_of(path):
    """SHA-256 of a file."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def wrong_checksums():
    """Names of files that are missing, or not as they were packed."""
    wrong = []
    for line in (HERE / "CHECKSUMS.sha256").read_text(encoding="utf-8").splitlines():
        wanted, _, name = line.partition("  ")
        path = HERE / name
        if not path.is_file() or digest_of(path) != wanted:
            wrong.append(name)
    return wrong


def check():
    wrong = wrong_checksums()
    for name in wrong:
        print(name + " is missing, or not as it was packed.")
    if not wrong:
        print("Checksums: all files are as CHECKSUMS.sha256 says.")
    return 1 if wrong else 0


def main():
    if "--checksums" in sys.argv[1:]:
        return check()
    try:
        from palpate.core.cli import main as palpate
    except ImportError:
        check()
        print("The numbers were not made again: Palpate is not installed here. README.md says "
              "what to install.", file=sys.stderr)
        return 2
    # checks the checksums itself, then runs the settings and decisions of result.h5 on the map
    return palpate(["rebuild", str(HERE), *sys.argv[1:]])


if __name__ == "__main__":
    sys.exit(main())
'''
