"""Small invented answers for the panel *Law*, in the form that core gives them."""

from __future__ import annotations

import math
import threading
from types import SimpleNamespace
from typing import Any

import numpy as np

LABELS = {
    ("paraboloid", "constant"): "paraboloid, constant pull (DMT)",
    ("paraboloid", "jkr"): "paraboloid, JKR",
    ("cone", "constant"): "cone, constant pull (DMT)",
    ("punch", "none"): "flat punch, no adhesion",
}


def check(name: str, label: str, value: float, verdict: str, **given: Any) -> SimpleNamespace:
    usual = dict(symbol="", error=math.nan, unit="", limit="below 0.3", sentence="", source="",
                 quartiles=(math.nan, math.nan))  # fmt: skip
    usual["sentence"] = f"{label} decides here."
    usual["source"] = "invented"
    return SimpleNamespace(name=name, label=label, value=value, verdict=verdict, **usual | given)


def law(key: tuple[str, str], verdict: str, *reasons: str) -> SimpleNamespace:
    return SimpleNamespace(law=key[0], adhesion=key[1], label=LABELS[key], verdict=verdict,
                           reasons=reasons)  # fmt: skip


def advice(present: tuple[str, str] = ("paraboloid", "constant"), tabor: float = 0.42
           ) -> SimpleNamespace:  # fmt: skip
    """An `Advice`: constant pull is strained, JKR broken, the punch not known."""
    laws = (
        law(("paraboloid", "constant"), "strained", "The Tabor parameter lies between the laws."),
        law(("paraboloid", "jkr"), "broken", "The work of adhesion is too small for JKR."),
        law(("cone", "constant"), "fits"),
        law(("punch", "none"), "unknown", "The radius of the face is not recorded."),
    )
    checks = (
        check("tabor", "Tabor parameter", tabor, "strained", symbol="µ", error=0.08,
              limit="below 0.1", sentence="Neither a constant pull nor JKR describes this "
              "contact well; Maugis-Dugdale does."),
        check("jkr", "Surface energy over stiffness", 0.012, "fits", symbol="w/(E*R)",
              error=0.003, limit="below 0.1"),
        check("contact_radius", "Contact radius over tip radius", 0.47, "broken", symbol="a/R",
              error=0.02, limit="below 0.3", sentence="The paraboloid stands for a sphere only "
              "while the contact is small; use the exact sphere."),
        check("pressure", "Mean pressure", math.nan, "unknown", symbol="p_m", unit="GPa",
              limit="below yield"),
    )  # fmt: skip
    now = next(one for one in laws if (one.law, one.adhesion) == present)
    return SimpleNamespace(checks=checks, laws=laws, present=now,
                           sentence="Use Maugis-Dugdale here: the Tabor parameter is 0.42.")


def adhesion_map(shape: tuple[int, int]) -> SimpleNamespace:
    """An `AdhesionMap` with a point for each pixel on a slanted grid, and three regimes."""
    rows, cols = shape
    row, col = (a.ravel() for a in np.mgrid[:rows, :cols])
    edges = (("JKR", np.full(2, 0.7), np.array([-2.0, 4.0])),
             ("DMT", np.full(2, -1.0), np.array([-2.0, 4.0])),
             ("Hertz", np.array([-3.0, 3.0]), np.array([2.5, 2.5])))  # fmt: skip
    names = (("JKR", 1.4, 0.0), ("Maugis", 0.0, 1.8), ("DMT", -1.8, 0.0), ("Hertz", 0.0, 3.2))
    return SimpleNamespace(x=-0.8 + 1.4 * col / cols + 0.02 * row, y=0.2 + 1.5 * row / rows,
                           pixels=np.stack([row, col], 1), edges=edges, names=names)  # fmt: skip


def option(key: tuple[str, str]) -> SimpleNamespace:
    return SimpleNamespace(law=key[0], adhesion=key[1], label=LABELS[key])


def on_curve(key: tuple[str, str], excess: float = 0.0, reason: str = "", **given: Any
             ) -> SimpleNamespace:  # fmt: skip
    usual = dict(residual=1.023, criterion=excess - 400.0, excess=excess, modulus=1.452,
                 modulus_error=0.031, change=0.0, exponent=1.5)  # fmt: skip
    if reason:
        usual = dict.fromkeys(usual, math.nan)
    usual["note"] = ""
    return SimpleNamespace(option=option(key), possible=not reason, reason=reason,
                           **usual | given)  # fmt: skip


def comparison() -> list[SimpleNamespace]:
    """`OnCurve`: JKR is best, the punch is impossible."""
    return [
        on_curve(("paraboloid", "constant"), 6.2),
        on_curve(("paraboloid", "jkr"), 0.0, residual=1.011, modulus=1.7, change=0.171),
        on_curve(("cone", "constant"), 231.7, residual=2.31, modulus=0.9, change=-0.38),
        on_curve(("punch", "none"), reason="The radius of the face is not recorded."),
    ]


def map_comparison(shape: tuple[int, int]) -> list[SimpleNamespace]:
    """`OnMap`: the paraboloid with constant pull is best; the cone changes the right half."""
    rows, cols = shape
    change = np.where(np.arange(cols) * 2 >= cols, 0.25, -0.12) * np.ones((rows, 1))
    change[0, 0] = math.nan
    usual = dict(possible=True, reason="", criterion=-400.0, excess=0.0, modulus=1.2,
                 count=rows * cols, taken=rows * cols, failed=0,
                 alike=0.95, exponent=1.5, note="")  # fmt: skip
    return [
        SimpleNamespace(option=option(("paraboloid", "constant")), residual=1.02,
                        best_share=0.62, change=0.0, change_map=0.0 * change, **usual),
        SimpleNamespace(option=option(("cone", "constant")), residual=2.24, best_share=0.38,
                        change=-0.21, change_map=change, **usual | dict(excess=12.0, alike=0.3)),
        SimpleNamespace(option=option(("punch", "none")), change_map=None, best_share=math.nan,
                        residual=math.nan, change=math.nan,
                        **usual | dict(possible=False, reason="No radius is recorded.")),
    ]  # fmt: skip


def contacts(used: str = "free") -> list[SimpleNamespace]:
    """`ContactEstimate` of each method; the last one found nothing."""
    rows = (
        ("free", "fitted with the law", 12.31, 0.08, 1.45, "None if the law is right."),
        ("threshold", "threshold", 13.9, 0.4, 1.61, "Late on soft samples; it grows with noise."),
        ("variance_ratio", "ratio of variances", 12.8, 0.5, 1.5, "Late by half its window."),
        ("goodness", "goodness of fit", 12.4, 0.2, 1.47, "Early where the law does not hold."),
        ("change_point", "change point", math.nan, math.nan, math.nan, "Late by a step or two."),
    )
    return [SimpleNamespace(method=m, label=label, z0=z, error=e, bias=bias, modulus=modulus,
                            modulus_error=0.03, used=m == used)
            for m, label, z, e, modulus, bias in rows]  # fmt: skip


def term(name: str, label: str, kind: str, value: float, error: float, unit: str,
         sensitivity: float, contribution: float, origin: str = "recorded", per: str = ""
         ) -> SimpleNamespace:  # fmt: skip
    return SimpleNamespace(name=name, label=label, kind=kind, value=value, error=error, unit=unit,
                           sensitivity=sensitivity, contribution=contribution,
                           origin=origin, per=per, note=f"What {label} does.")  # fmt: skip


def budget(quantity: str = "modulus") -> SimpleNamespace:
    """A `Budget` of a paraboloid: ln E = ... - ln k ... with a spring constant from thermal
    noise, whose error goes against that of the sensitivity."""
    terms = (
        term("noise", "Noise of the curve", "local", math.nan, 0.015, "", 1.0, 0.015),
        term("contact", "Contact point", "local", 12.31, 0.08, "nm", 0.21, 0.017, "fit", "nm"),
        term("spring_constant", "Spring constant", "common", 2.0, 0.2, "N/m", 1.0, 0.1),
        term("sensitivity", "Deflection sensitivity", "common", 62.0, 2.5, "nm/V", 1.4, 0.056),
        term("radius", "Tip radius", "common", 20.0, 4.0, "nm", -0.5, 0.1),
        term("poisson_ratio", "Poisson ratio", "common", 0.4, 0.03, "", -0.95, 0.0286, "assumed"),
    )
    local, common = math.hypot(0.015, 0.017), 0.117
    total = math.hypot(local, common)
    value, unit = (9.0, "nN") if quantity == "adhesion" else (1.452, "GPa")
    ends = value * math.exp(-1.96 * total), value * math.exp(1.96 * total)
    carlo = SimpleNamespace(mean=1.01 * value, median=value, deviation=value * total,
                            low=0.99 * ends[0], high=1.02 * ends[1], trials=100_000)  # fmt: skip
    return SimpleNamespace(
        quantity=quantity, value=value, unit=unit, terms=terms, local=local, common=common,
        correlations=(("spring_constant", "sensitivity", -0.8),), total=total, interval=ends,
        monte_carlo=carlo,
    )  # fmt: skip


class Provider:
    """Stands for core: answers at once, or when `gate` is opened, and notes what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[Any, ...]] = []
        self.gate = threading.Event()
        self.gate.set()
        self.trouble: Exception | None = None

    def _note(self, *what: Any) -> None:
        self.asked.append(what)
        assert self.gate.wait(20.0)
        if self.trouble is not None:
            raise self.trouble

    def advise(self, analysis: Any, row: int | None, col: int | None) -> Any:
        self._note("advise", row, col)
        fit = analysis.settings.fit
        found = advice((fit.law, fit.adhesion))
        if row is None:
            found.checks[0].quartiles = (0.2, 0.9)
            found.sentence = "For the median of the map a constant pull is good enough."
        return found

    def adhesion_map(self, analysis: Any) -> Any:
        self._note("adhesion_map")
        return adhesion_map(analysis.map.shape)

    def compare_on_curve(self, fmap: Any, settings: Any, row: int, col: int,
                         walk: float | None = None) -> Any:  # fmt: skip
        self._note("compare_on_curve", row, col)
        return comparison()

    def compare_on_map(self, analysis: Any, progress: Any) -> Any:
        self._note("compare_on_map")
        for done in range(4):
            progress.step(done, 4, "Comparing laws")
        return map_comparison(analysis.map.shape)

    def compare_contacts(self, fmap: Any, settings: Any, row: int, col: int,
                         walk: float | None = None) -> Any:  # fmt: skip
        self._note("compare_contacts", row, col)
        return contacts(settings.fit.contact)

    def pixel_budget(self, analysis: Any, row: int, col: int, quantity: str) -> Any:
        self._note("pixel_budget", row, col, quantity)
        return budget(quantity)

    def calls(self) -> Any:
        from palpate.app.law_calls import Calls

        return Calls(self.advise, self.adhesion_map, self.compare_on_curve, self.compare_on_map,
                     self.compare_contacts, self.pixel_budget)  # fmt: skip
