"""One line of a journal: JSON with a number that rises by one and a checksum of its own."""

from __future__ import annotations

import json
import zlib
from typing import Any

VERSION = 1
HEAD, WHOLE, ACT, SOURCE, SAVED = "head", "whole", "act", "source", "saved"
KINDS = (HEAD, WHOLE, ACT, SOURCE, SAVED)
LONGEST = 512 * 1024**2
"""Bytes of a line that are read."""


def line_of(number: int, kind: str, time: str, data: dict[str, Any]) -> bytes:
    """A line with its end; `data` are plain values."""
    plain = {"n": number, "kind": kind, "time": time, **data}
    body = json.dumps(plain, separators=(",", ":"), allow_nan=False).encode("ascii")
    return b'{"crc":"%08x","line":%s}\n' % (zlib.crc32(body), body)


def plain_of(line: bytes) -> dict[str, Any] | None:
    """The plain values of a line; None if it is torn or damaged."""
    head, tail = b'{"crc":"', b'","line":'
    if not (line.startswith(head) and line.endswith(b"}\n") and line[16 : 16 + len(tail)] == tail):
        return None
    body = line[16 + len(tail) : -2]
    try:
        if zlib.crc32(body) != int(line[8:16], 16):
            return None
        found = json.loads(body)
    except (ValueError, RecursionError):
        return None
    good = isinstance(found, dict) and type(found.get("n")) is int and found.get("kind") in KINDS
    return found if good else None
