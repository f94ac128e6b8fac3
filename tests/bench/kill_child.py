"""A session without a window that somebody works in, for `test_kills.py` to kill:
``python kill_child.py MAP FOLDER SEED``. Each act is printed with its number, its time and a
digest of the work after it."""

from __future__ import annotations

import hashlib
import json
import random
import sys
import time
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QCoreApplication, QTimer

from palpate.app.journal_desk import JournalDesk
from palpate.app.session import Session
from palpate.core.decisions import Pixels
from palpate.core.surface.levelling import Levelling
from palpate.core.work import Work, as_parts

EVERY = 20  # ms between acts


def digest(work: Work) -> str:
    """Equal works have equal digests."""
    text = json.dumps(as_parts(work), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


class Hand:
    """Works in a session: decisions, settings, undo and redo, as chance has it."""

    def __init__(self, session: Session, seed: int) -> None:
        self.session, self.random = session, random.Random(seed)
        self.number, self.longest = 0, 0.0
        session.history_changed.connect(self.tell)
        self.work = session.work

    def tell(self) -> None:
        if self.session.map is not None and self.session.work is not self.work:
            self.work = self.session.work
            self.number += 1
            print(self.number, time.time(), digest(self.work), f"{self.longest:.6f}", flush=True)

    def act(self) -> None:
        begun = time.perf_counter()
        self.one()
        self.longest = time.perf_counter() - begun

    def one(self) -> None:
        session, rng = self.session, self.random
        if session.map is None:
            return
        shape = session.map.shape
        pixel = Pixels.one(shape, rng.randrange(shape[0]), rng.randrange(shape[1]))
        kind = rng.randrange(12)
        if kind < 5:
            session.use_review(session.review.keep(pixel, f"note {rng.random()}"), "keep")
        elif kind < 7:
            session.use_review(session.review.leave_out(pixel), "leave out")
        elif kind == 7:
            change = {"fit.fraction_to": rng.uniform(60.0, 90.0)}
            session.use_review(session.review.correct(pixel, change), "correct")
        elif kind == 8:
            session.apply({"tip.radius": rng.uniform(5.0, 50.0)}, "tip radius")
        elif kind == 9:
            levelling = Levelling(rng.randrange(4))
            session.decide(replace(session.work, levelling=levelling), "levelling")
        elif kind == 10:
            session.undo()
        else:
            session.redo()


def main(path: str, folder: str, seed: str) -> int:
    app = QCoreApplication(["kill-child"])
    session = Session()
    desk = JournalDesk(session, Path(folder))
    session.background.start()
    session.open(path)
    hand = Hand(session, int(seed))
    timer = QTimer(interval=EVERY)
    timer.timeout.connect(hand.act)
    timer.start()
    code = app.exec()
    desk.close()
    return code


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
