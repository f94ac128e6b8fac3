"""A map that is worked out of the channels, to look at in place of the chosen one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QPushButton, QSizePolicy, QWidget

from ..core.channels import Channel, Tables
from .panels.law_page import wrapped
from .panels.notices import Notice


@dataclass(frozen=True, eq=False)
class Derived:
    """A map to look at.

    Attributes
    ----------
    channel : words, unit and kind, as of a channel
    values : (rows, cols) in its core unit; NaN where there is none
    words : what was done, for the banner
    analysis : that it was made of; it is not shown with another one
    follows : the channel that it is made of and follows; "" for a map that stands by itself
    """

    channel: Channel
    values: np.ndarray
    words: str
    analysis: Any
    follows: str = ""


def channel_of(name: str, label: str, symbol: str, unit: str, formula: str,
               kind: str = "magnitude") -> Channel:  # fmt: skip
    """What a map needs of a channel, for one that is in no table."""
    return Channel(name, label, symbol, unit, formula, _none, kind=kind)


def _none(tables: Tables) -> np.ndarray:
    return np.full(len(tables.base), math.nan)


class DerivedBanner(Notice):
    """Says that the map shows no channel, and what was done. Signal left: the person goes back."""

    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.words = wrapped("")
        self.words.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.back = QPushButton("Back to the channel", self)
        self.back.clicked.connect(self.left)
        self.line.addWidget(self.words, 1)
        self.line.addWidget(self.back)

    def show_derived(self, derived: Derived | None) -> None:
        if derived is not None:
            self.words.setText(f"The map shows: {derived.channel.label}. {derived.words}")
        self.setVisible(derived is not None)
