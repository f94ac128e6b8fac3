"""Settings are declared once, kept in files, and refuse what is unknown or impossible."""

from __future__ import annotations

import math
from dataclasses import fields

import pytest

from palpate.core.errors import SettingsError
from palpate.core.settings import Settings, declarations


def test_every_declaration_is_complete():
    for path, spec in declarations():
        meta = spec.metadata
        assert meta["label"], path
        assert meta["help"].endswith("."), path
        assert meta["source"], path
        assert meta["kind"] in ("number", "choice")


def test_the_sections_are_declared_apart_and_still_found_where_settings_are_imported():
    from palpate.core import settings

    for section in fields(Settings):
        cls = settings.SECTIONS[section.name]
        assert getattr(settings, cls.__name__) is cls
        assert cls.__module__.startswith("palpate.core.sections.")
    for name in ("SHAPES", "ADHESIONS", "CONTACTS"):
        assert len(getattr(settings, name)) > 4


@pytest.mark.parametrize("kind", ["toml", "json"])
def test_round_trip_through_a_file(tmp_path, kind):
    changed = Settings().with_values(
        {"fit.law": "cone", "tip.radius": 12.5, "fit.window": "force", "adhesion.samples": 5}
    )
    text = changed.to_toml() if kind == "toml" else changed.to_json()
    (tmp_path / f"s.{kind}").write_text(text, encoding="utf-8")
    assert Settings.load(tmp_path / f"s.{kind}") == changed


def test_equal_settings_give_equal_text():
    a = Settings().with_value("fit.fraction_from", 12).with_value("tip.radius", 8)
    b = Settings().with_value("tip.radius", 8.0).with_value("fit.fraction_from", 12.0)
    assert a == b
    assert a.to_json() == b.to_json()


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("tip.radius", 0, "above 0"), ("tip.radius", -3, "above 0"), ("tip.radius", math.nan, "nm"),
        ("calibration.spring_constant", 0, "above 0"), ("sample.poisson_ratio", 0.6, "0 to 0.5"),
        ("tip.half_angle", 90, "1 to 85"), ("fit.law", "egg", "paraboloid"),
        ("fit.fraction_from", 99, "below"), ("fit.nothing", 1, "unknown"),
        ("nothing.at_all", 1, "unknown"), ("tip.radius", "12", "nm"), ("tip.radius", True, "nm"),
        ("adhesion.samples", 2.5, "1 to 50"), ("tip.radius", 10**400, "nm"),
        ("fit.law", None, "paraboloid"), ("sample.poisson_ratio", None, "0 to 0.5"),
    ],
)  # fmt: skip
def test_impossible_values_are_refused_with_name_and_range(path, value, words):
    with pytest.raises(SettingsError, match=words) as caught:
        Settings().with_value(path, value)
    assert path in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"palpate_settings": 1, "fit": {"law": ', "not valid JSON"),
        ('{"palpate_settings": 1, "fit": {"colour": "red"}}', "fit.colour"),
        ('{"palpate_settings": 1, "extra": {}}', "extra"),
        ('{"palpate_settings": 2}', "newer"),
        ('{"fit": {"law": "cone"}}', "palpate_settings = 1"),
        ('{"palpate_settings": 1, "tip": {"radius": 1e400}}', "tip.radius"),
        ('{"palpate_settings": 1, "tip": {"radius": NaN}}', "tip.radius"),
        ('{"palpate_settings": 1, "tip": {"radius": ' + "9" * 400 + "}}", "tip.radius"),
        ("[" * 100_000, "not valid JSON"),
        ("[1, 2]", "table"),
        ('{"palpate_settings": 1, "tip": 3}', "tip"),
    ],
)
def test_bad_files_are_refused_in_a_plain_sentence(tmp_path, text, words):
    path = tmp_path / "s.json"
    path.write_text(text)
    with pytest.raises(SettingsError, match=words) as caught:
        Settings.load(path)
    assert "s.json" in str(caught.value)


def test_missing_and_binary_files_are_refused(tmp_path):
    with pytest.raises(SettingsError, match="can't be read"):
        Settings.load(tmp_path / "none.toml")
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="can't be read"):
        Settings.load(tmp_path / "b.toml")


def test_settings_can_not_be_changed_in_place():
    with pytest.raises(AttributeError):
        Settings().fit.law = "cone"  # type: ignore[misc]
