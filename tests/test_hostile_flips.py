"""Any damage to a good file gives a ReadError with a sentence, or a map; never a crash.

The files are opened in a process of their own, which tells how it ended.
"""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from native_files import good_map

# Reads file names; opens and uses each as the program does. On some damaged files the HDF5
# library loops for ever or crashes: that must stay in the process that looks first.
USER = """
import sys
from palpate.core.errors import ReadError
from palpate.core.readers import child, open_map

child.INSPECTOR.patience = 3.0
for line in sys.stdin:
    try:
        with open_map(line.rstrip("\\n")) as m:
            m.index_map
            for block in m.blocks(4000):
                pass
            for curve in range(min(m.n_curves, 20)):
                m.samples(curve)
            m.load()
        print("read", flush=True)
    except ReadError as error:
        said = str(error)
        good = said.endswith(".") and "Traceback" not in said and len(said) < 1500
        print("refused" if good else "bad words: " + said, flush=True)
    except Exception as error:
        print(f"escaped: {type(error).__name__}: {error}", flush=True)
"""


class User:
    """A process that opens files, started again when it has died."""

    def __init__(self) -> None:
        self.process: subprocess.Popen[str] | None = None

    def ask(self, path: Path) -> str:
        if self.process is None:
            self.process = subprocess.Popen(
                [sys.executable, "-c", textwrap.dedent(USER)], text=True,
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            )  # fmt: skip
        self.process.stdin.write(f"{path}\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        if line:
            return line.strip()
        code = self.process.wait()
        self.stop()
        return f"died with exit code {code}"

    def stop(self) -> None:
        if self.process is not None:
            self.process.stdin.close()
            self.process.wait()
            self.process.stdout.close()
            self.process = None


@pytest.fixture(scope="module")
def user():
    one = User()
    yield one
    one.stop()


@pytest.fixture(scope="module")
def good(tmp_path_factory) -> bytes:
    return good_map(tmp_path_factory.mktemp("good") / "a.h5").read_bytes()


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("flips") / "a.h5"


def test_the_good_file_itself_is_read(user, good, place):
    place.write_bytes(good)
    assert user.ask(place) == "read"


edit = st.one_of(
    st.tuples(st.just("flip"), st.floats(0, 1, exclude_max=True), st.integers(1, 255)),
    st.tuples(st.just("set"), st.floats(0, 1, exclude_max=True),
              st.sampled_from([0, 1, 2, 0x7F, 0x80, 0xFE, 0xFF])),
    st.tuples(st.just("fill"), st.floats(0, 1, exclude_max=True), st.integers(2, 64)),
    st.tuples(st.just("cut"), st.floats(0, 1, exclude_max=True), st.integers(1, 64)),
)  # fmt: skip


@settings(
    max_examples=300, deadline=None, derandomize=True, database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(edits=st.lists(edit, min_size=1, max_size=6))
def test_flipped_filled_or_cut_bytes_give_a_sentence_or_a_map(user, good, place, edits):
    data = bytearray(good)
    for kind, where, value in edits:
        at = int(where * len(data))
        if kind == "flip":
            data[at] ^= value
        elif kind == "set":
            data[at] = value
        elif kind == "fill":
            data[at : at + value] = b"\xff" * len(data[at : at + value])
        else:
            del data[at : at + value]
    place.write_bytes(data)
    assert user.ask(place) in ("read", "refused")


def test_every_byte_of_the_describing_part_may_be_wrong(user, good, place):
    """Each of 150 places in the file, spread over all of it, inverted."""
    answers = set()
    for at in range(0, len(good), max(1, len(good) // 150)):
        data = bytearray(good)
        data[at] ^= 0xFF
        place.write_bytes(data)
        answers.add(user.ask(place))
    assert answers == {"read", "refused"}
