"""Figures for paper: sheets drawn with Matplotlib, written, checked, and the data behind them.

Matplotlib is imported when something is drawn.
"""

from .pictures import FIRST_CHOICE, pictures, robust_limits

__all__ = ["FIRST_CHOICE", "pictures", "robust_limits"]
