"""Rules: defaults, overlays, units, and one line for everything that is wrong (own)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from netplan.core.errors import BadRulesError
from netplan.core.sources import sources
from netplan.rules import default_rules, default_rules_text, read_rules


def _write(folder: Path, text: str) -> Path:
    path = folder / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_default_names_unit_and_origin() -> None:
    known = set(sources()) | {"example", "common practice", "own"}
    values = 0
    for line in default_rules_text().splitlines():
        if re.match(r"^[a-z_0-9]+ = ", line):
            match = re.search(r"# \[([^\]]+)\] ([a-z_0-9]+(?: practice)?)", line)
            assert match, line
            assert match.group(2) in known, line
            values += 1
    assert values > 90


def test_quantities_carry_their_own_unit(tmp_path: Path) -> None:
    rules = read_rules(
        _write(
            tmp_path,
            '[pressure]\nminimum_mbar = "4 inH2O"\n[clearance]\nwork_m = "40 ft"\n[gas]\nground_temp_c = "50 degF"\n',
        )
    )
    assert rules.pressure.minimum_mbar == pytest.approx(9.963556)
    assert rules.clearance.work_m == pytest.approx(12.192)
    assert rules.gas.ground_temp_c == pytest.approx(10.0)


def test_own_methods_replace_the_shipped_ones(tmp_path: Path) -> None:
    text = (
        '[[method]]\nname = "only valve"\nkind = "valve"\nmaterials = ["PE100"]\nod_min_mm = 0\nod_max_mm = 400\n'
        "rating_mbar = 100\nbarriers = 1\nprice = 1\nminutes = 5\nminutes_fast = 2\n"
        'assembly = [{ role = "zone_vent", offset_m = -1 }, { role = "gauge", offset_m = 1 }]\n'
    )
    assert [m.name for m in read_rules(_write(tmp_path, text)).method] == ["only valve"]


def test_a_composition_replaces_the_named_gas(tmp_path: Path) -> None:
    rules = read_rules(_write(tmp_path, "[gas]\ncomposition = { methane = 1.0 }\n"))
    assert rules.gas.name is None
    assert rules.gas.ground_temp_c == default_rules().gas.ground_temp_c


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[pressure]\nminimum = 19\n", r"pressure\.minimum: unknown key"),
        ("[presure]\nminimum_mbar = 19\n", r"presure: unknown key"),
        ('[pressure]\nminimum_mbar = "4 m"\n', r"does not convert to mbar"),
        ('[pressure]\nminimum_mbar = "lots"\n', r"cannot read 'lots'"),
        ("[pressure]\nminimum_mbar = nan\n", r"finite"),
        ("[pressure]\nminimum_mbar = true\n", r"expected a number"),
        ("[bypass]\nbores_mm = [51, 25]\n", r"ascending"),
        ("[pressure\n", r"not valid TOML"),
        ('[gas]\nname = "natural gas"\ncomposition = { methane = 1.0 }\n', r"either name or composition"),
    ],
)
def test_bad_rules_are_one_line(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(BadRulesError, match=says) as caught:
        read_rules(_write(tmp_path, text))
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(BadRulesError, match="cannot be read"):
        read_rules(tmp_path / "none.toml")
