"""What a command must refuse: one line, exit code 2, nothing left behind and nothing long repeated."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from netplan.cli import main
from netplan.core.errors import MOST_IN_MESSAGE, BadInputError, in_brief, quoted, shown
from netplan.outputs import atomic_writes as whole_folder
from netplan.outputs.atomic_writes import check_folder, write_folder
from netplan.outputs.output_folders import check_target
from netplan.outputs.plan_folder import write_plan_folder
from netplan.readers import read_network, write_layers
from tests.own.test_cli import _layers
from tests.support.plans import hamlet_result
from tests.support.sample_plan import sample_plan

SAVED = Path(__file__).parent / "plans" / "0.1.0"
LONG = "x" * 5_000
WORK = ("--main", "M1", "--from", "95", "--to", "105")
QUICK = ("--no-weather", "--no-papers", "--options", "1")


@pytest.fixture
def street(tmp_path: Path) -> Path:
    return write_layers(_layers(), tmp_path / "street.gpkg")


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


def refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str | Path, code: int = 2
) -> str:
    """Run a command that must be refused, and return its one line."""
    capsys.readouterr()
    assert run(monkeypatch, *arguments) == code
    said = capsys.readouterr().err
    assert said.count("\n") == 1, said
    assert "fault in the program" not in said
    assert len(said) < MOST_IN_MESSAGE + 100
    return said


RULES = [
    ("[[method]]\nrating_margin_mbar = -500\n", "rating_margin_mbar"),
    ("[[method]]\nprice = true\n", "price: .*expected a number in 1, got True"),
    ("[[method]]\nrating_mbar = 0\n", "rating_mbar: .*greater than 0"),
    ("[[method]]\nbarriers = true\n", "barriers: .*expected a whole number, got true"),
    ("[[method]]\nfitting_od = 1e9\n", "fitting_od: .*less than or equal to 100"),
    ("[[method]]\nminutes = -1\n", "minutes: .*greater than or equal to 0"),
    ("[[method]]\nrefuse_inserted = 0\n", "refuse_inserted: .*expected true or false, got 0"),
    (
        "[[method]]\nassembly = [{ role = 'barrier', offset_m = 1e6 }]\n",
        r"offset_m: .*less than or equal to 100",
    ),
    ("[price]\ngas_per_m3 = true\n", "gas_per_m3: .*expected a number"),
    ("[price]\nbypass = -1\n", "bypass: .*greater than or equal to 0"),
    ("[price.off_per_hour]\nhousehold = false\n", "household: .*expected a number"),
    ("[pressure]\nmargin_mbar = -2\n", "margin_mbar: .*greater than or equal to 0"),
    ("[pressure]\nminimum_mbar = '1 m**9**9**9'\n", "minimum_mbar: "),
    ("[clearance]\nwork_m = '1 m**9**9**9'\n", "work_m: .*unit 'm.*' does not convert to m"),
    ("[clearance]\nfitting_od = -1\n", "fitting_od: .*greater than or equal to 0"),
    ("[gas]\nground_temp_c = 60\n", "ground_temp_c: .*less than or equal to 50"),
    ("[gas]\ncomposition = { methane = true }\n", "methane: .*expected a number"),
    ("[gas]\ncomposition = { methane = 1.5, nitrogen = -0.5 }\n", "methane: .*less than or equal to 1"),
    ("[demand]\nday_starts_hour = true\n", "day_starts_hour: .*expected a whole number"),
    ("[demand]\nmargin = -0.1\n", "margin: .*greater than or equal to 0"),
    ("[method_general]\nearly_pe_before_year = -5\n", "early_pe_before_year"),
    ("[method_general]\nsqueeze_unknown_resin = 'yes'\n", "squeeze_unknown_resin: .*expected true or false"),
    ("[bypass]\nroughness_mm = 4000\n", "roughness_mm: .*less than or equal to 20"),
    ("[bypass]\nreach_m = -3\n", "reach_m: .*greater than or equal to 0"),
    ("[bypass]\nloss_coefficient = 1e300\n", "loss_coefficient: .*less than or equal to 1000"),
    ("[purge]\nstack_bores_mm = [0]\n", r"stack_bores_mm.*greater than 0"),
    ("[purge]\nstack_height_m = -3\n", "stack_height_m"),
    ("[crew]\nrelights_per_hour = true\n", "relights_per_hour"),
    ("[crew]\nno_access = 1.2\n", "no_access: .*less than or equal to 1"),
    ("[notice.lead_days]\nhousehold = 999999999\n", "household: .*less than or equal to 365"),
    ("[choice]\nseconds = 1e300\n", "seconds"),
    ("[choice]\nmax_stops = -1\n", "max_stops"),
    ("[staging]\nlongest_m = true\n", "longest_m: .*expected a number"),
    (f"[{LONG}]\n", "unknown key"),
    (f"[gas]\nname = '{LONG}'\n", "no example gas is called"),
    (f"[pressure]\nminimum_mbar = '{LONG}'\n", "cannot read"),
    (f"[price]\ncurrency = '{LONG}'\n", "currency"),
]


def _whole(text: str) -> str:
    """Complete a table of one method, so that the key tried is what is wrong."""
    if not text.startswith("[[method]]"):
        return text
    own = text.removeprefix("[[method]]\n")
    plain = {
        "name": "'v'",
        "kind": "'valve'",
        "materials": "['PE100']",
        "od_min_mm": "0",
        "od_max_mm": "400",
        "rating_mbar": "100",
        "barriers": "1",
        "price": "1",
        "minutes": "5",
        "minutes_fast": "2",
    }
    return "[[method]]\n" + own + "".join(f"{k} = {v}\n" for k, v in plain.items() if k != own.split(" ")[0])


@pytest.mark.parametrize(("text", "says"), RULES, ids=[text[:60].replace("\n", " ") for text, _ in RULES])
def test_impossible_rules_are_refused_at_once(
    street: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    text: str,
    says: str,
) -> None:
    rules = tmp_path / "rules.toml"
    rules.write_text(_whole(text), encoding="utf-8")
    began = time.process_time()
    out = tmp_path / "plan"
    said = refused(monkeypatch, capsys, "plan", street, *WORK, *QUICK, "--rules", rules, "--out", out)
    assert re.search(says, said), said
    assert LONG[:200] not in said
    assert time.process_time() - began < 20
    assert not out.exists()


VALUES = [
    (("--start", "0001-01-01"), "--start: '0001-01-01' is not in 1970 to 2199"),
    (("--start", "9999-12-31T23:00"), "is not in 1970 to 2199"),
    (("--start", "2027-03-09T07:00+05:45"), "has an offset from UTC; write the local time"),
    (("--start", "2027-03-09T07:00Z"), "has an offset from UTC"),
    (("--start", LONG), "is no ISO date and time"),
    (("--language", "zz"), "--language: there are no words for 'zz'; use one of de, en, en-us, pl"),
    (("--language", "../../x"), "there are no words for '../../x'"),
    (("--language", LONG), "there are no words for"),
    (("--words", "nowhere"), "--words: nowhere is no folder; give the folder of your words.<tag>.toml"),
    (
        ("--tiles", "javascript:alert(1)//{z}{x}{y}"),
        "--tiles: 'javascript:alert(1)//{z}{x}{y}' is no address",
    ),
    (("--tiles", "https://a.example/{z}/{x}/{y}.png' onerror='x"), "is no address pattern"),
    (("--tiles", "https://a.example/tile.png"), "is no address pattern"),
    (("--tiles", "file:///{z}/{x}/{y}"), "is no address pattern"),
    (("--tiles", f"https://{LONG}/{{z}}/{{x}}/{{y}}"), "is no address pattern"),
    (("--rules", LONG), "cannot be read"),
    (("--mapping", LONG), "cannot be read"),
    (("--keep-on", LONG), "the network has no customer"),
    (("--force", f"{LONG}:5"), "the network has no main"),
    (("--air-temp", LONG), "cannot read"),
    (("--units", LONG), "is not known; use metric or us"),
]


@pytest.mark.parametrize(("option", "says"), VALUES, ids=[" ".join(option)[:50] for option, _ in VALUES])
def test_impossible_values_are_refused_before_anything_is_planned(
    street: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    option: tuple[str, ...],
    says: str,
) -> None:
    out = tmp_path / "plan"
    said = refused(monkeypatch, capsys, "plan", street, *WORK, *QUICK, *option, "--out", out)
    assert says in said
    assert LONG[:200] not in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["street.gpkg"]


@pytest.mark.parametrize("place", [("--max-stops", LONG), ("--out", LONG), ("--main", LONG), ("--" + LONG,)])
def test_long_values_are_shortened_wherever_they_stand(
    street: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    place: tuple[str, ...],
) -> None:
    out = () if place[0] == "--out" else ("--out", tmp_path / "plan")
    assert run(monkeypatch, "plan", street, *WORK, *QUICK, *out, *place) == 2
    assert LONG[:300] not in capsys.readouterr().err


def test_long_values_of_the_data_are_shortened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = _layers()
    layers["mains"]["id"] = [f"{LONG}:"]
    layers["mains"]["material"] = [" ".join([LONG] * 2)]
    layers["customers"]["service_id"] = [LONG, "S2"]
    network = write_layers(layers, tmp_path / "street.gpkg")
    run(monkeypatch, "check", network, "--json", tmp_path / "f.json")
    said = capsys.readouterr()
    assert "".join(said.out.split()).count("x" * 300) == 0
    assert LONG[:300] not in said.err
    assert any(f["feature_id"] == f"{LONG}:" for f in json.loads((tmp_path / "f.json").read_text()))
    refused(monkeypatch, capsys, "plan", network, *WORK, "--out", tmp_path / "plan")


def test_texts_for_messages() -> None:
    assert (shown("short"), quoted("a'b"), quoted(True)) == ("short", '"a\'b"', "True")
    assert shown(LONG) == "x" * 80 + "…"
    assert quoted(LONG) == f"'{'x' * 80}…'"
    assert in_brief(f"main {LONG} is odd") == f"main {'x' * 80}… is odd"
    assert len(in_brief("a b " * 5_000)) == MOST_IN_MESSAGE + 1
    assert len(str(BadInputError("word " * 5_000))) <= MOST_IN_MESSAGE + 1


def test_a_forecast_with_an_offset_is_refused(
    street: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    forecast = tmp_path / "forecast.csv"
    forecast.write_text("time,air_temp_c\n2027-03-09T07:00+05:45,3\n", encoding="utf-8")
    begin = ("--start", "2027-03-09T07:00", "--forecast", forecast)
    said = refused(monkeypatch, capsys, "plan", street, *WORK, *begin, "--out", tmp_path / "plan")
    assert "forecast.csv: line 2: time: '2027-03-09T07:00+05:45' has an offset from UTC" in said


def _begun(*arguments: str | Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "netplan", *(str(a) for a in arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # noqa: S603


@pytest.mark.parametrize("overwrite", [False, True])
def test_of_two_plans_into_one_folder_one_says_that_it_lost(
    street: Path, tmp_path: Path, overwrite: bool
) -> None:
    out = tmp_path / "plan"
    more: tuple[str, ...] = ()
    if overwrite:
        shutil.copytree(sample_plan(), out)
        more = ("--overwrite",)
    ways = [("M1", "95", "105"), ("M1", "60", "70")]
    runs = [
        _begun("plan", street, "--main", main_id, "--from", low, "--to", high, *QUICK, *more, "--out", out)
        for main_id, low, high in ways
    ]
    said = [run.communicate(timeout=300)[1] for run in runs]
    codes = [run.returncode for run in runs]
    assert sorted(codes) == [0, 2], said
    lost = said[codes.index(2)]
    assert "another run wrote a plan there meanwhile, which stays" in lost or "holds a plan already" in lost
    plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    assert f"{plan['work'][0]['from_m']:g}" == ways[codes.index(0)][1]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan", "street.gpkg"]


def test_a_plan_written_meanwhile_is_never_replaced(tmp_path: Path) -> None:
    result, out = hamlet_result(), tmp_path / "plan"
    seen = check_target(out)
    write_plan_folder(result, out)
    first = (out / "plan.json").stat().st_ino
    with pytest.raises(BadInputError, match="another run wrote a plan there meanwhile"):
        write_plan_folder(result, out, overwrite=True, target=seen)
    assert (out / "plan.json").stat().st_ino == first
    seen = check_target(out, overwrite=True)
    write_plan_folder(result, out, overwrite=True)
    second = (out / "plan.json").stat().st_ino
    with pytest.raises(BadInputError, match="another run wrote a plan there meanwhile"):
        write_plan_folder(result, out, overwrite=True, target=seen)
    assert (out / "plan.json").stat().st_ino == second
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


@pytest.mark.parametrize("old", [False, True])
def test_whoever_is_quicker_at_the_last_moment_wins(tmp_path: Path, old: bool) -> None:
    out = tmp_path / "screen"

    def make(name: str) -> Callable[[Path], None]:
        def write(part: Path) -> None:
            (part / "mark").write_text(name, encoding="utf-8")

        return write

    if old:
        write_folder(check_folder(out, ("mark",), "screen", overwrite=False), make("old"))
    slow = check_folder(out, ("mark",), "screen", overwrite=True)
    quick = check_folder(out, ("mark",), "screen", overwrite=True)

    def overtaken(part: Path) -> None:
        make("slow")(part)
        # As by another process, whose hidden folder has another number.
        other = part.with_name(f".{out.name}.unfinished-1")
        other.mkdir()
        make("quick")(other)
        whole_folder._put_in_place(other, quick)

    with pytest.raises(BadInputError, match="another run wrote a screen there meanwhile"):
        write_folder(slow, overtaken)
    assert (out / "mark").read_text(encoding="utf-8") == "quick"
    assert [path.name for path in tmp_path.iterdir()] == ["screen"]


def test_what_a_killed_run_of_our_own_number_left_is_no_obstacle(tmp_path: Path) -> None:
    left = tmp_path / f".plan.unfinished-{os.getpid()}"
    left.mkdir()
    (left / "plan.json").write_text("{", encoding="utf-8")
    write_plan_folder(hamlet_result(), tmp_path / "plan")
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_to_end_clears_away_as_ctrl_c_does(tmp_path: Path, number: signal.Signals) -> None:
    out = tmp_path / "again"
    # A run that shall outlive its terminal hands on that it ignores the signal.
    before = signal.signal(number, signal.SIG_DFL)
    try:
        begun = _begun("papers", SAVED, "--out", out)
    finally:
        signal.signal(number, before)
    deadline = time.monotonic() + 120
    while not list(tmp_path.glob(".again.unfinished-*")) and time.monotonic() < deadline:
        assert begun.poll() is None, begun.communicate()
        time.sleep(0.005)
    begun.send_signal(number)
    _, said = begun.communicate(timeout=120)
    # Where the signal comes in the midst of an `exec`, as while a module loads, Python ends itself by SIGINT in
    # the end although the interrupt was caught: a shell says 130 of that too.
    assert begun.returncode in (130, -signal.SIGINT), said
    assert said == "gas-netplan: stopped; nothing was written\n"
    assert list(tmp_path.iterdir()) == []


def test_priority_notes_are_for_the_owner_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    layers = _layers()
    layers["customers"]["priority"] = ["oxygen at home", ""]
    layers["customers"]["priority_note"] = ["a note about health", ""]
    network = write_layers(layers, tmp_path / "street.gpkg")
    before = os.umask(0o022)
    try:
        mended, kept = tmp_path / "mended.gpkg", tmp_path / "kept"
        assert run(monkeypatch, "check", network, "--mend", mended) == 0
        read_network(network, cache=kept)
    finally:
        os.umask(before)
    capsys.readouterr()
    assert stat.S_IMODE(mended.stat().st_mode) == 0o600
    (place,) = kept.iterdir()
    assert stat.S_IMODE(place.stat().st_mode) == 0o700
    assert {stat.S_IMODE(file.stat().st_mode) for file in place.iterdir()} == {0o600}
    assert read_network(mended).customers.priority_note[0] == "a note about health"
