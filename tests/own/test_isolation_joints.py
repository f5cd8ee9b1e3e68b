"""Stops beside joints of mains that no fitting is recorded at: whole plans through the command line."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from netplan.cli import main
from netplan.outputs.documents.stop_sketch import assembly_drawing
from netplan.outputs.number_format import figures_of
from netplan.planfile.plan_json import read_plan
from netplan.readers import write_layers
from tests.support import networks
from tests.support.joined_streets import row_of_mains
from tests.support.networks import customer, fitting, service, station

ACROSS = "[clearance]\nthrough_record_joints = true\n"


def town(
    sizes: list[tuple[float, str]], changes: dict[int, dict[str, Any]] | None = None, **more: Any
) -> Any:
    """Return a street of mains end to end, fed from both ends, with two houses in its first and last main."""
    mains = row_of_mains(sizes, **{k: more.pop(k) for k in ("od_mm", "year") if k in more})
    for n, columns in (changes or {}).items():
        mains[n].update(columns)
    length = sum(size for size, _ in sizes)
    return networks.layers(
        mains=mains,
        regulators=[station("R1", (0, 0)), station("R2", (length, 0))],
        services=[service("S1", (5, 0), (5, 6)), service("S2", (length - 5, 0), (length - 5, 6))],
        customers=[
            customer("C1", (5, 6), service_id="S1"),
            customer("C2", (length - 5, 6), service_id="S2"),
        ],
        **more,
    )


def command(*arguments: str) -> int:
    """Run the command line; return its exit code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["gas-netplan", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
    return int(ended.value.code or 0)


def planned(
    layers: Any, folder: Path, work: tuple[str, float, float], rules: str = "", *, code: int = 0
) -> list[dict[str, Any]]:
    """Plan through the command line; return the options of plan.json."""
    network = write_layers(layers, folder / "town.gpkg")
    own = folder / "rules.toml"
    own.write_text(rules, encoding="utf-8")
    name, start, until = work
    args = ["plan", str(network), "--main", name, "--from", str(start), "--to", str(until)]
    args += ["--rules", str(own), "--no-weather", "--no-papers", "--out", str(folder / "plan")]
    assert command(*args) == code
    if code:
        return []
    options: list[dict[str, Any]] = json.loads((folder / "plan" / "plan.json").read_text("utf-8"))["options"]
    return options


def places(option: dict[str, Any]) -> list[tuple[str, Any]]:
    return [(stop["main_id"], stop["chainage_m"]) for stop in option["stops"]]


def test_no_barrier_goes_on_a_joint_for_the_cheaper_surface_beyond(tmp_path: Path) -> None:
    layers = town([(60, "carriageway"), (20, "carriageway"), (3, "carriageway"), (60, "verge")])
    for option in planned(layers, tmp_path, ("A1", 0, 20)):
        assert places(option) == [
            ("A0", pytest.approx(58.9 if option["stops"][0]["kind"] == "squeeze" else 59.1)),
            ("A3", pytest.approx(1.1 if option["stops"][1]["kind"] == "squeeze" else 0.9)),
        ]
        assert [stop["surface"] for stop in option["stops"]] == ["carriageway", "verge"]


def test_explained_burden_pays_for_the_main_that_the_stop_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = town([(60, "carriageway"), (20, "carriageway"), (3, "carriageway"), (60, "verge")])
    best, *_ = planned(layers, tmp_path, ("A1", 0, 20))
    capsys.readouterr()
    assert command("explain", str(tmp_path / "plan"), "burden") == 0
    told = capsys.readouterr().out
    assert "DIFFER" not in told
    sum_line = next(line for line in told.splitlines() if line.startswith("stops = "))
    assert float(sum_line.split(" = ")[-1].split()[0]) == pytest.approx(
        best["burden_parts"]["stops"], abs=1e-9
    )
    # Bag stops by the shipped rules: 1800 and 4 a millimetre, 700 for a carriageway.
    assert [stop["price"] for stop in best["stops"]] == [1800 + 4 * 110 + 700, 1800 + 4 * 110]


def test_squeeze_keeps_its_clearance_from_an_end_of_a_main(tmp_path: Path) -> None:
    # Work that ends 0.1 m short of a joint, and clearances to the work far below those to fittings.
    layers = town([(60, "verge"), (3.3, "verge"), (60, "verge")], od_mm=63.0)
    rules = "[clearance]\nwork_m = 0.05\n"
    options = planned(layers, tmp_path, ("A0", 40, 59.9), rules)
    assert options
    for option in options:
        near = next(stop for stop in option["stops"] if stop["work_side"] == "from")
        # 3.3 m hold no assembly of 2.4 m with 0.5 m before and behind.
        assert (near["kind"], near["main_id"], near["chainage_m"]) == ("squeeze", "A2", pytest.approx(1.1))
    (tmp_path / "other").mkdir()
    longer = town([(60, "verge"), (3.5, "verge"), (60, "verge")], od_mm=63.0)
    best, *_ = planned(longer, tmp_path / "other", ("A0", 40, 59.9), rules)
    near = next(stop for stop in best["stops"] if stop["work_side"] == "from")
    # 0.5 m from the joint to the first tapping, 0.6 m on to the barrier; the work is not what counts.
    assert (near["main_id"], near["chainage_m"]) == ("A1", pytest.approx(1.1))
    # Behind 0.5 m to the joint there is no room for the tee: it is the first tapping of the next main, where a
    # bypass uses it; nobody taps it for nothing.
    tees = [t for t in near["tappings"] if t["role"] == "bypass"]
    places = [(t["main_id"], t["chainage_m"], t["offset_m"]) for t in tees]
    expected = ("A2", pytest.approx(0.5), pytest.approx(3.5 - 1.1 + 0.5))
    assert places == ([expected] if best["bypasses"] else [])
    told = any("bypass tee does not fit" in line for line in best["warnings"])
    assert told == bool(best["bypasses"])


def test_joint_just_inside_the_work_keeps_its_clearance(tmp_path: Path) -> None:
    layers = town([(60, "verge"), (60, "verge")])
    best, *_ = planned(layers, tmp_path, ("A0", 40, 60), "[clearance]\nwork_m = 0.1\n")
    assert places(best)[1] == ("A1", pytest.approx(0.9))


SHORT = [(60.0, "verge"), (20.0, "verge"), *[(1.5, "verge")] * 20, (60.0, "verge")]


def test_rule_lets_assemblies_lie_across_record_boundaries_with_a_warning(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    best, *_ = planned(town(SHORT), tmp_path, ("A1", 0, 20), ACROSS)
    stop = best["stops"][1]
    assert (stop["main_id"], stop["chainage_m"]) == ("A2", pytest.approx(0.9))
    assert [(t["role"], t["main_id"], t["chainage_m"], t["offset_m"]) for t in stop["tappings"]] == [
        ("zone_vent", "A2", pytest.approx(0.5), -0.4),
        ("barrier", "A2", pytest.approx(0.9), 0.0),
        ("vent", "A2", pytest.approx(1.5), 0.6),
        ("barrier", "A3", pytest.approx(0.6), 1.2),
        ("gauge", "A3", pytest.approx(1.2), 1.8),
    ]
    for a, b in (("A2", "A3"), ("A3", "A4")):
        words = f"the joint between {a} and {b} is taken for a record boundary: prove by trial hole"
        assert words in stop["confidence_note"]
        assert f"S2: {words}" in best["warnings"]
    drawn = assembly_drawing(read_plan(tmp_path / "plan").options[0].stops[1], figures_of("metric"))
    assert drawn is not None
    shown = [drawn.index(f">{text} m<") for text in ("−1.80", "−1.20", "−0.60", "0.00", "0.40")]
    assert shown == sorted(shown)
    capsys.readouterr()
    for figure in ("burden", "gas"):
        assert command("explain", str(tmp_path / "plan"), figure) == 0
        assert "DIFFER" not in capsys.readouterr().out


def test_fallback_across_record_boundaries_starts_beyond_the_failing_assembly(tmp_path: Path) -> None:
    best, *_ = planned(town(SHORT), tmp_path, ("A1", 0, 20), ACROSS)
    start = {"A0": 0.0, "A1": 60.0, **{f"A{2 + k}": 80.0 + 1.5 * k for k in range(21)}}
    fallback = next(
        each for each in best["fallback"] if each["stop_id"] == "S2" and each["failure"] == "will not set"
    )
    (use,) = fallback["use"]
    last = max(start[t["main_id"]] + t["chainage_m"] for t in best["stops"][1]["tappings"])
    first = start[use["main_id"]] + use["chainage_m"] - {"bag stop": 0.4, "squeeze-off": 0.6}[use["method"]]
    assert first >= last + 0.5 - 1e-3
    assert "prove by trial hole" in fallback["note"]


@pytest.mark.parametrize(
    ("changes", "more"),
    [
        ({2: {"year": 2001}}, {}),
        ({n: {"year": None} for n in range(2, 22)}, {}),
        ({2: {"sdr": 17.0}}, {}),
        ({}, {"fittings": [fitting("F", (81.5, 0))]}),
    ],
)
def test_what_is_no_mere_record_boundary_stays_a_joint(
    changes: dict[int, dict[str, Any]], more: dict[str, Any], tmp_path: Path
) -> None:
    best, *_ = planned(town(SHORT, changes, **more), tmp_path, ("A1", 0, 20), ACROSS)
    assert best["stops"][1]["main_id"] != "A2"


def test_rule_off_finds_no_place_on_short_mains_and_says_why(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = town([(3.0, "verge")] * 30)
    planned(layers, tmp_path, ("A15", 0, 3), code=3)
    told = capsys.readouterr().err
    assert "too near to the joint between" in told
    assert "clearance.through_record_joints" in told
    (tmp_path / "across").mkdir()
    assert planned(layers, tmp_path / "across", ("A15", 0, 3), ACROSS)
