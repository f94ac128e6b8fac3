"""``palpate settings`` tells every setting as declared, and a wrong ``--set`` is bad usage."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from palpate.core.cli import main
from palpate.core.settings import SECTIONS, declarations, range_text
from palpate.core.simulate import ski_boot
from palpate.core.writers.native import write_map


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    arrays = ski_boot(size=4, samples=64).arrays()
    out = tmp_path_factory.mktemp("maps") / "a.h5"
    return str(write_map(out, arrays.pop("z"), arrays.pop("deflection"), **arrays))


def joined(text):
    return " ".join(text.split())


def test_settings_lists_every_name_with_default_unit_range_options_and_help(capsys):
    assert main(["settings"]) == 0
    told = capsys.readouterr().out
    one_line = joined(told)
    assert all(len(line) <= 100 for line in told.splitlines())
    for path, spec in declarations():
        default = "as recorded in the map" if spec.default is None else spec.default
        default = f"{default:g}" if isinstance(default, float) else default
        unit = f" {spec.metadata['unit']}" if spec.default is not None else ""
        assert f"  {path} = {default}{unit}".rstrip() in told.splitlines(), path
        assert joined(spec.metadata["help"]) in one_line, path
        for option, words in spec.metadata.get("options", {}).items():
            assert joined(f"{option} {words}") in one_line
        if spec.metadata["kind"] == "number":
            assert f"Range: {range_text(spec)}." in one_line


def test_settings_can_be_listed_by_section_or_one_by_one(capsys):
    for section in SECTIONS:
        assert main(["settings", section]) == 0
        told = capsys.readouterr().out
        names = [path for path, _ in declarations() if f"  {path} = " in told]
        assert names == [path for path, _ in declarations() if path.startswith(f"{section}.")]
    assert main(["settings", "fit.law"]) == 0
    told = capsys.readouterr().out
    assert "blunted_cone" in told
    assert "fit.adhesion = " not in told


@pytest.mark.parametrize("wanted", ["egg", "fit.egg", "fit.law.egg"])
def test_an_unknown_section_is_bad_usage(wanted, capsys):
    assert main(["settings", wanted]) == 2
    assert "is unknown; known" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("change", "sentence", "list_of"),
    [
        ("fit.law", "write NAME=VALUE", "settings fit"),
        ("fit.law=egg", "one of paraboloid", "settings fit"),
        ("fit.egg=1", "known in this section", "settings fit"),
        ("egg.law=1", "known sections", "settings`"),
        ("egg", "write NAME=VALUE", "settings`"),
        ("tip.radius=wide", "'wide' is not a number", "settings tip"),
        ("tip.radius=", "'' is not a number", "settings tip"),
        ("tip.radius=nan", "above 0 to 1,000,000 nm (1 mm)", "settings tip"),
        ("tip.radius=-5", "above 0 to 1,000,000 nm (1 mm)", "settings tip"),
        ("fit.fraction_from=96", "must be below fit.fraction_to", "settings fit"),
        ("layer.base=bonded=1", "one of none", "settings layer"),
    ],
)
def test_a_wrong_set_is_bad_usage_and_points_to_the_list(path, capsys, change, sentence, list_of):
    assert main(["analyse", path, "--set", change]) == 2
    told = capsys.readouterr().err
    assert told.startswith("palpate: --set")
    assert sentence in told
    assert f"`palpate {list_of}" in told


def test_two_sets_that_hold_together_only_are_taken_together(path, tmp_path):
    both = ["--set", "fit.fraction_from=96", "--set", "fit.fraction_to=99"]
    assert main(["analyse", path, "--quiet", "--out", str(tmp_path), *both]) == 0
    assert main(["analyse", path, "--quiet", "--out", str(tmp_path), "--set", "fit.law=cone",
                 "--set", "fit.adhesion=jkr"]) == 2  # fmt: skip


def test_a_reader_that_leaves_early_gets_no_traceback(path):
    """`palpate info MAP | head -1`; 128 + 13 is what a shell reports for a broken pipe."""
    command = [sys.executable, "-P", "-c", "import sys, time; from palpate.core.cli import main;"
               "sys.stdin.read(); sys.exit(main(sys.argv[1:]))", "info", path]  # fmt: skip
    read, write = os.pipe()
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=write, stderr=subprocess.PIPE,
                          text=True) as child:  # fmt: skip
        os.close(write)
        os.close(read)  # nobody reads any more; only now the child may begin
        _, told = child.communicate("")
    assert told == ""
    assert child.returncode == 141


def test_the_module_runs_as_a_command_line(path):
    done = subprocess.run([sys.executable, "-P", "-m", "palpate.core.cli", "info", path],
                          capture_output=True, text=True, check=False)  # fmt: skip
    assert done.returncode == 0
    assert "4 x 4 pixels" in done.stdout
