"""The guide's formulas are the code's, its titles are whole, and words about saving are right."""

from __future__ import annotations

import math
import re

import pytest
from PySide6.QtGui import QAction, QFont
from PySide6.QtWidgets import QFileDialog, QWidget

from palpate.app import status as bar
from palpate.app.dialogs import files
from palpate.app.dialogs.help import HelpWindow
from palpate.app.dialogs.help_pages import pages
from palpate.core.models import jkr, layers, maugis, tabor
from palpate.core.models.layer_solver import kernel_deficit
from palpate.core.steps import contact, viscous

PAGE = pages([])["Contact laws"]
PART = {part.partition("\n")[0]: part for part in PAGE.split("\n## ")}


# ---- formulas


@pytest.mark.parametrize(
    ("title", "told"),
    [
        ("JKR", [f"w/(E* R) below {jkr.DOMAIN:g}", f"λ above {tabor.JKR_ABOVE:g}"]),
        ("JKR, two points", [f"· {jkr.TWO_POINT:.4f} ·", "a third of the pull"]),
        ("Maugis-Dugdale", [f"= {tabor.LAMBDA_PER_MU:.3f} μ", f"below λ = {tabor.DMT_BELOW:g}",
                            f"JKR above λ = {tabor.JKR_ABOVE:g}"]),
        ("Layer", [f"up to χ = {layers.LARGEST_CHI:g}"]),
        ("Solids that relax", [f"0 to {viscous.MOST_BETA:g}",
                               f"up to {math.exp(viscous.MOST_RATIO):,.0f}"]),
        ("Finding the contact point", [f"`{contact.LEVEL:g} σ`", f"up to {contact.UPPER:.0%}"[:-1],
                                       "a 24th", "8 to 60"]),
    ],
)  # fmt: skip
def test_each_law_and_method_has_formula_validity_and_source_with_the_limits_of_the_code(
    title, told
):
    part = " ".join(PART[title].split())
    assert "`" in part
    assert "*Holds" in part
    assert "*Source:*" in part
    for words in told:
        assert words in part, words
    assert (contact.window_of(24 * 30), contact.window_of(24), contact.window_of(10**6)) == (
        30, 8, 60)  # fmt: skip


NAMES = {"π": "pi", "λ": "lam", "θ": "theta", "²": "**2", "³": "**3",
         "^": "**", "[": "(", "]": ")", "E*": "E"}  # fmt: skip


def worked_out(title, left, **values):
    """The right side of the formula of a part of the page that begins with `left =`, worked out."""
    spans = re.findall(r"`([^`]*)`", PART[title])
    each = [formula for span in spans for formula in re.split(r", (?=\w+ = )", span)]
    found = [formula for formula in each if formula.partition(" = ")[0] == left]
    text = found[-1].partition(" = ")[2]  # the law stands after what defines its symbols
    for sign, name in NAMES.items():
        text = text.replace(sign, f" {name} " if name.isalpha() else name)
    text = text.replace("√", " sqrt").replace("arctan t", "atan(t)")
    text = re.sub(r"(?<=[\w)])\s+(?=[\w(])", " * ", text)  # a space between factors
    text = re.sub(r"(?<![\w*.])(\d+)(?=[a-z(])", r"\1*", text)
    text = text.replace("sqrt * (", "sqrt(")
    return eval(text, {"__builtins__": {}}, vars(math) | values)  # our own page


def test_the_jkr_formulas_of_the_page_are_those_of_the_code():
    modulus, radius, work, a = 0.02, 30.0, 0.05, 9.0
    known = {"K": 4.0 / 3.0 * modulus, "R": radius, "w": work, "a": a}
    assert worked_out("JKR", "F", **known) == pytest.approx(jkr.force(a, modulus, radius, work))
    depth = jkr.indentation(a, modulus, radius, work)
    assert worked_out("JKR", "δ", **known) == pytest.approx(depth)
    assert worked_out("JKR", "F_ad", **known) == pytest.approx(jkr.scales(modulus, radius, work)[0])


def test_the_maugis_formulas_of_the_page_are_those_of_the_code():
    for lam, m in ((0.3, 1.5), (2.0, 1.1)):
        t = math.sqrt(m * m - 1.0)
        known = {"lam": lam, "m": m, "t": t, "theta": math.atan(t)}
        assert worked_out("Maugis-Dugdale", "θ", **known) == pytest.approx(math.atan(t))
        for name in "UVW":
            known[name] = worked_out("Maugis-Dugdale", name, **known)
        known["A"], load, depth = (float(x) for x in maugis.state(t, lam))
        assert worked_out("Maugis-Dugdale", "1", **known) == pytest.approx(1.0)
        assert worked_out("Maugis-Dugdale", "P", **known) == pytest.approx(load)
        assert worked_out("Maugis-Dugdale", "Δ", **known) == pytest.approx(depth)


def test_the_layer_kernels_of_the_page_are_those_of_the_code():
    spans = re.findall(r"`(bonded|sliding): L\(s\) = ([^`,]*)[`,]", PART["Layer"])
    assert [base for base, _ in spans] == ["bonded", "sliding"]
    for base, text in spans:
        for s, nu in ((0.4, 0.3), (2.0, 0.5)):
            kappa = 3.0 - 4.0 * nu
            here = text.replace("sinh 2s", "*sinh(2*s)").replace("cosh 2s", "*cosh(2*s)")
            here = here.replace("²", "**2").replace("κ", "kappa").replace("(*", "(")
            here = re.sub(r"(\d)(kappa|s\b)", r"\1*\2", here)
            value = eval(here, {"__builtins__": {}}, vars(math) | {"s": s, "kappa": kappa})
            assert value - 1.0 == pytest.approx(float(kernel_deficit(s, nu, base)), abs=1e-12)


def test_a_page_says_at_most_once_and_last_that_a_print_was_not_seen():
    for title, text in pages([("F1", "help")]).items():
        assert text.count("from memory") <= 1, title
        if "from memory" in text:
            assert "from memory" in text.rstrip().rpartition("\n")[2], title
    assert "common practice, no source" in pages([])["Settings"]
    assert "Bilodeau, J. Appl. Mech. 59 (1992) 519." in PAGE


# ---- the window of the guide, and words about saving


@pytest.mark.parametrize("size", [9, 18])
def test_no_title_of_the_guide_is_cut_off(qtbot, size):
    guide = HelpWindow([("F1", "help")])
    qtbot.addWidget(guide)
    font = QFont(guide.font())
    font.setPointSize(size)
    guide.setFont(font)
    guide.show()
    list_ = guide.list
    assert list_.viewport().width() >= list_.sizeHintForColumn(0)
    widest = max(list_.fontMetrics().horizontalAdvance(list_.item(i).text())
                 for i in range(list_.count()))  # fmt: skip
    assert list_.viewport().width() > widest


def test_a_dialog_for_saving_says_save_in(qtbot, tmp_path):
    parent = QWidget()
    qtbot.addWidget(parent)
    place = str(tmp_path / "blend_result.h5")
    dialog = files.save_dialog(parent, "Save the result", place, files.RESULTS)
    assert dialog.labelText(QFileDialog.DialogLabel.LookIn) == "Save in:"
    assert dialog.acceptMode() == QFileDialog.AcceptMode.AcceptSave
    assert dialog.selectedFiles() == [place]
    assert dialog.selectedNameFilter() == files.RESULTS
    dialog.deleteLater()


def test_the_name_in_the_dialog_is_what_is_saved_and_cancel_saves_nothing(
    qtbot, tmp_path, monkeypatch
):
    parent = QWidget()
    qtbot.addWidget(parent)
    for answer, expected in ((1, (str(tmp_path / "a.h5"), files.RESULTS)), (0, ("", ""))):
        monkeypatch.setattr(QFileDialog, "exec", lambda *_, a=answer: a)
        assert files.save_name(parent, "Save", str(tmp_path / "a.h5"), files.RESULTS) == expected


def test_what_was_said_does_not_stay_for_ever(qtbot, monkeypatch):
    monkeypatch.setattr(bar, "LINGER", 40)
    action = QAction("Stop")
    status = bar.Status(action)
    qtbot.addWidget(status)
    status.say("Saved a.h5 in /tmp.")
    assert "Saved" in status.words.text()
    qtbot.waitUntil(lambda: status.words.text() == bar.READY, timeout=2000)
    status.say("Saved b.h5 in /tmp.")
    status.show_busy("Fitting", 1, 2)
    qtbot.wait(300)
    assert status.words.text() == "Fitting"
    status.show_busy("", 0, 0)
    assert status.words.text() == bar.READY
