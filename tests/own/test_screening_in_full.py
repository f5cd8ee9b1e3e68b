"""A screen in full: resumed, by several workers, its time beforehand, and what table, report and map say of it.

That its figures are those of plans is in tests/laws/test_screen_in_full.py.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

from netplan.__main__ import main as command_line
from netplan.core.errors import BadInputError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.outputs.map.screen_map import screen_map_data
from netplan.outputs.number_format import METRIC, US
from netplan.outputs.screen_report import report_text
from netplan.outputs.screen_table import figure_label, ranked_mains
from netplan.rules import Rules, read_rules
from netplan.screening import Screen, ScreenSettings, Workers, screen
from netplan.screening import screen_duration as duration_module
from netplan.screening.full_evaluator import FullEvaluator
from netplan.screening.main_blocks import FULL_MAINS
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.plan_outcomes import NO_PLAN, NOT_SETTLED, PLAN_STANDS
from netplan.screening.screen_columns import PLAN_COLUMNS
from netplan.screening.screen_duration import ScreenDuration, screen_duration
from netplan.screening.screen_run import Districts
from tests.support.networks import build, customer, layers, main, service, station
from tests.whole_plan.towns import random_town

SEED = 5


@pytest.fixture(scope="module")
def town() -> Network:
    return build_network(random_town(SEED).layers())


@pytest.fixture(scope="module")
def rules() -> Rules:
    quick = {"max_zones": 40, "max_solves_without_option": 400}
    return read_rules(None, overrides={**random_town(SEED).rules, "choice": quick})


@pytest.fixture(scope="module")
def asked() -> ScreenSettings:
    return ScreenSettings(air_temp_c=random_town(SEED).air_temp_c, full=True)


@pytest.fixture(scope="module")
def alone(
    town: Network, rules: Rules, asked: ScreenSettings, tmp_path_factory: pytest.TempPathFactory
) -> Screen:
    return screen(town, rules, asked, folder=tmp_path_factory.mktemp("alone") / "blocks")


def test_two_workers_give_the_same_rows(
    town: Network, rules: Rules, asked: ScreenSettings, alone: Screen, tmp_path: Path
) -> None:
    assert town.pipes.n_mains > FULL_MAINS  # several blocks
    found = screen(town, rules, asked, folder=tmp_path / "blocks", workers=Workers(2))
    assert found.table.equals(alone.table)


def test_a_stopped_run_goes_on_where_it_was(
    town: Network,
    rules: Rules,
    asked: ScreenSettings,
    alone: Screen,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stop(done: int, _count: int) -> None:
        if done:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        screen(town, rules, asked, folder=tmp_path / "blocks", tell=stop)
    priced: list[int] = []
    rows = MainEvaluator.rows

    def counted(self: MainEvaluator, mains: Sequence[int], **more: Any) -> Iterator[dict[str, Any]]:
        priced.extend(mains)
        return rows(self, mains, **more)

    monkeypatch.setattr(MainEvaluator, "rows", counted)
    said: list[ScreenDuration] = []
    found = screen(town, rules, asked, folder=tmp_path / "blocks", resume=True, foresee=said.append)
    assert found.table.equals(alone.table)
    assert len(priced) == said[0].mains == town.pipes.n_mains - FULL_MAINS
    # Blocks of another question are not taken: here one without best options.
    priced.clear()
    less = ScreenSettings(air_temp_c=asked.air_temp_c)
    other = screen(town, rules, less, folder=tmp_path / "blocks", resume=True)
    assert len(priced) == town.pipes.n_mains
    assert not set(PLAN_COLUMNS) & set(other.table.column_names)
    # Pressures are those of the whole network, as in a plan, where best options are priced.
    apart = ("stop_chains", "looked_at", "row", "bypass", "least_pressure_mbar", "least_pressure_at")
    both = [name for name in other.table.column_names if name not in apart]
    assert other.table.select(both).equals(alone.table.select(both))


def test_the_time_beforehand_is_that_of_mains_priced_for_real(
    town: Network, rules: Rules, asked: ScreenSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A clock that counts how many mains were priced: the first takes 5 s, each further one 2 s.
    clock = [0.0]
    rows = MainEvaluator.rows

    def slow(self: MainEvaluator, mains: Sequence[int], **more: Any) -> Iterator[dict[str, Any]]:
        clock[0] += 2.0 if clock[0] else 5.0
        return rows(self, mains, **more)

    monkeypatch.setattr(MainEvaluator, "rows", slow)
    monkeypatch.setattr(time, "perf_counter", lambda: clock[0])
    monkeypatch.setattr(duration_module, "MOST_SAMPLED", 4)
    district, every = Districts(town, rules, asked)(0)
    mains = np.array(sorted(every))
    found = screen_duration(district, mains, Workers(2))
    assert (found.mains, found.sampled, found.mean_s, found.ready_s) == (len(mains), 4, 2.0, 3.0)
    assert found.seconds == 3.0 + len(mains)
    assert found.words() == (
        f"{len(mains)} mains to price: about {3 + len(mains)} s with 2 workers (2 s a main, from 4 of them; the "
        "longest took 2 s)."
    )
    few = screen_duration(district, mains[:4], Workers())
    assert few.words() == "4 mains to price: too few to time some beforehand."


@pytest.mark.parametrize(
    ("mains", "workers", "words"),
    [
        (3600, 1, "about 30 min here ("),
        (36000, 4, "about 75 min with 4 workers ("),
        (72000, 1, "about 10.0 h here ("),
        (60, None, "about 30 s shared by the workers of the scheduler ("),
    ],
)
def test_a_time_is_said_in_the_unit_that_people_use(mains: int, workers: int | None, words: str) -> None:
    found = ScreenDuration(mains, 20, 0.0, 0.5, 4.0, workers).words()
    assert f"{mains} mains to price: {words}0.5 s a main, from 20 of them; the longest took 4 s)." in found


def test_a_full_screen_has_stops_and_pressures() -> None:
    with pytest.raises(BadInputError, match="--full with --no-pressure"):
        ScreenSettings(full=True, pressure=False)
    with pytest.raises(BadInputError, match="--full with --no-stops"):
        ScreenSettings(full=True, stops=False)


def test_the_numbers_of_the_rules_end_a_search_and_the_clock_does_not(
    town: Network, rules: Rules, asked: ScreenSettings, alone: Screen
) -> None:
    def row(**limits: float) -> dict[str, Any]:
        choice = rules.choice.model_copy(update=limits)
        return FullEvaluator(town, rules.model_copy(update={"choice": choice}), asked).row(1)

    early = row(max_solves_without_option=1)
    assert early["plan_outcome"] == NOT_SETTLED
    assert "but one may exist" in early["plan_reason"]
    assert row(seconds=1e-9)["plan_burden"] == alone.table["plan_burden"][1].as_py() > 0


def test_a_network_that_no_station_feeds_is_not_settled(rules: Rules, tmp_path: Path) -> None:
    network = build(mains=[main("A", (0, 0), (100, 0))], regulators=[station("R1", (0, 500))], strict=False)
    found = screen(network, rules, ScreenSettings(full=True), folder=tmp_path / "blocks").table.to_pylist()
    assert [row["plan_outcome"] for row in found] == [NOT_SETTLED]
    assert "station" in found[0]["plan_reason"]


def test_report_and_map_say_what_became_of_the_plans(alone: Screen) -> None:
    mains = ranked_mains(alone, "plan_least_pressure_mbar")
    known = mains["plan_least_pressure_mbar"].dropna()
    assert known.is_monotonic_increasing
    assert len(known) < len(mains)
    mains = ranked_mains(alone, "plan_burden")
    count = mains["plan_outcome"].value_counts()
    assert count[PLAN_STANDS] + count[NO_PLAN] + count[NOT_SETTLED] == len(mains)
    assert count.min() > 0
    text = report_text(alone, mains, "plan_burden", None, None)
    assert f"a plan stands for {count[PLAN_STANDS]} mains; none is possible for {count[NO_PLAN]}" in text
    assert "no option was priced in full" not in text
    without = mains[mains["plan_outcome"] == NO_PLAN]
    section = text.split("## No plan possible", 1)[1].split("## Not settled", 1)[0]
    assert all(name in section for name in without["main_id"])
    data = screen_map_data(alone, mains, "plan_burden")
    figure = data["figures"][data["chosen"]]
    assert figure["label"] == f"best option: burden [{alone.rules.price.currency}]"
    assert figure["values"].count(None) == len(mains) - count[PLAN_STANDS]
    assert [bool(text) for text in data["reasons"]] == (mains["plan_outcome"] != PLAN_STANDS).tolist()
    words = {one["name"]: one["values"] for one in data["words"]}
    assert words["plan of the best option"] == mains["plan_outcome"].tolist()
    json.dumps(data)
    assert figure_label("plan_feeds_m", "EUR", METRIC).endswith("[m]")
    assert figure_label("plan_feeds_m", "EUR", US).endswith("[ft]")


def _houses() -> dict[str, Any]:
    places = (20, 80, 120, 180)
    return {
        "mains": [main("M1", (0, 0), (100, 0)), main("M2", (100, 0), (200, 0))],
        "services": [service(f"S{x}", (x, 0), (x, 8)) for x in places],
        "customers": [customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in places],
        "regulators": [station("R1", (0, 0)), station("R2", (200, 0))],
    }


def _run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: str
) -> tuple[object, str, str]:
    monkeypatch.setattr("sys.argv", ["gas-netplan", "screen", *words])
    with pytest.raises(SystemExit) as end:
        command_line()
    said = capsys.readouterr()
    return end.value.code, " ".join(said.out.split()), said.err


def test_the_command_prices_every_main(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from netplan.readers import write_layers

    write_layers(layers(**_houses()), tmp_path / "net")
    words = (str(tmp_path / "net"), "--air-temp", "4", "--out", str(tmp_path / "screen"), "--full")
    for less in ("--no-pressure", "--no-stops"):
        code, _, said = _run(monkeypatch, capsys, *words, less)
        assert code == 2
        assert said.startswith(f"gas-netplan: --full with {less}: ")
        assert said.count("\n") == 1
    code, said, _ = _run(monkeypatch, capsys, *words)
    assert code == 0
    assert "2 mains to price: too few to time some beforehand." in said
    assert "2 mains, a plan stands for 2, none is possible for 0, 0 are not settled." in said
    mains = gpd.read_parquet(tmp_path / "screen" / "mains.parquet")
    assert mains["plan_burden"].is_monotonic_decreasing
    assert (mains["plan_burden"] >= mains["burden_least"]).all()
    assert "best option: burden" in (tmp_path / "screen" / "report.md").read_text()
