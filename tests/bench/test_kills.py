"""A session is killed at fifty random moments; what it had decided is back.

    pytest tests/bench/test_kills.py -m bench -s
"""

from __future__ import annotations

import os
import random
import signal
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

from palpate.core import write_map
from palpate.core.journal import find
from palpate.core.simulate import ski_boot
from palpate.core.work import Work

KILLS = 50
CHILD = Path(__file__).with_name("kill_child.py")


def spoken(path: Path) -> list[list[str]]:
    """The whole lines of a child."""
    lines = path.read_text().split("\n")[:-1]
    return [line.split() for line in lines if line.count(" ") == 3]


@pytest.mark.bench
@pytest.mark.skipif(os.name == "nt", reason="a process can't be killed by a signal there")
def test_fifty_kills_of_a_session_lose_no_decision_older_than_two_seconds(tmp_path):
    arrays = ski_boot(16, 3, 160).arrays()
    path = write_map(tmp_path / "boot.h5", arrays.pop("z"), arrays.pop("deflection"), **arrays)
    sys.path.insert(0, str(CHILD.parent))
    from kill_child import digest

    rng = random.Random(int.from_bytes(os.urandom(4)))
    lost, age, acts, lengths, ahead = [], [], [], [], 0
    for number in range(KILLS):
        out, folder = tmp_path / f"{number}.txt", tmp_path / f"journals {number}"
        with out.open("w") as stream:
            child = subprocess.Popen([sys.executable, "-P", str(CHILD), str(path), str(folder),
                                      str(number)], stdout=stream)  # fmt: skip
            end = time.monotonic() + 120.0
            while not spoken(out) and time.monotonic() < end:
                time.sleep(0.01)
            time.sleep(rng.uniform(0.0, 3.0))
            child.send_signal(signal.SIGKILL)
            killed = time.time()
            child.wait()
        rows = spoken(out)
        found = find(folder)
        assert not found or found[0].problem == ""
        back = digest(found[0].work if found else Work())  # all undone: nothing is to be kept
        known = [at for at, row in enumerate(rows, 1) if row[2] == back]
        there = max(known, default=0 if back == digest(Work()) else None)
        if there is None:  # the kill came between the journal and the print
            ahead, there = ahead + 1, len(rows)
        due = sum(float(row[1]) < killed - 2.0 for row in rows)
        assert there >= due, f"kill {number}: {there} acts are back of {due} that were due"
        gone = rows[there:]
        lost.append(len(gone))
        age.append(max((killed - float(row[1]) for row in gone), default=0.0))
        acts.append(len(rows))
        lengths += [float(row[3]) for row in rows[1:]]
    print(f"\n{KILLS} kills after {min(acts)} to {max(acts)} acts (median "
          f"{statistics.median(acts):.0f}): {sum(count > 0 for count in lost)} kills lost "
          f"anything, at most {max(lost)} acts, the oldest {1000 * max(age):.0f} ms old")
    assert ahead <= KILLS // 5
    print(f"an act in the session, its digest and its print: median "
          f"{1000 * statistics.median(lengths):.2f} ms")  # fmt: skip
