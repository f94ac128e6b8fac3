"""Contact laws: plain functions with formula, symbols, validity and source; one file per family."""

from .power import LAWS, Law, law_of

__all__ = ["LAWS", "Law", "law_of"]
