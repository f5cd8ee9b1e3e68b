"""From a network to the rows of all its mains."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from netplan.hydraulics.recorded_network import flow_conditions, gas_of
from netplan.isolation import MINOR_PER_UNIT
from netplan.network.extract import extract
from netplan.network.model import Network
from netplan.network.station_pressures import set_outlet_pa_gauge
from netplan.planning.rank import NO_OUTLET_PA_GAUGE
from netplan.reference.gas import METRIC_STANDARD
from netplan.rules import Rules
from netplan.screening.block_workers import Workers, work_blocks
from netplan.screening.loss_at_ends import EndLoss, lost_at_ends
from netplan.screening.main_blocks import BlockFolder, MainBlock, district_nodes, split_blocks
from netplan.screening.main_evaluator import District
from netplan.screening.named_mains import named_rows
from netplan.screening.screen_columns import EMPTY_ROW, PLAN_COLUMNS, SCHEMA, SEARCH_COLUMNS, STOP_COLUMNS
from netplan.screening.screen_duration import ScreenDuration, screen_duration
from netplan.screening.screen_settings import ScreenSettings

__all__ = ["Districts", "Screen", "screen"]

Tell = Callable[[int, int], None]
Foresee = Callable[[ScreenDuration], None]


@dataclass(frozen=True, slots=True, eq=False)
class Screen:
    """The answer for every main.

    Parameters
    ----------
    network : Network
    rules : Rules
    settings : ScreenSettings
    table : pyarrow.Table
        One row a main in the order of the network; columns of `screen_columns.SCHEMA`, those of the stops
        where they were looked for, and those of other views.
    loss : EndLoss
    districts : Districts
    """

    network: Network
    rules: Rules
    settings: ScreenSettings
    table: pa.Table
    loss: EndLoss
    districts: Districts

    def with_columns(self, more: pa.Table) -> Screen:
        """Return the screen with more columns, of as many rows."""
        table = self.table
        for name in more.column_names:
            table = table.append_column(more.schema.field(name), more[name])
        return replace(self, table=table)

    def column(self, name: str) -> NDArray[np.float64]:
        """Return a figure of every main; NaN where there is none."""
        return np.asarray(self.table[name].cast(pa.float64()).fill_null(np.nan).to_numpy())


class Districts:
    """The districts of a network, each made when it is asked for."""

    def __init__(self, network: Network, rules: Rules, settings: ScreenSettings) -> None:
        self._network, self._rules, self._settings = network, rules, settings
        # A plan is made on the whole network, whatever hangs together.
        self.of_node: NDArray[np.int32] = (
            np.zeros(len(network.nodes), np.int32) if settings.full else district_nodes(network)
        )
        first = np.searchsorted(network.pieces.pipe, np.arange(network.pipes.n_mains))
        self.of_main: NDArray[np.int32] = self.of_node[network.pieces.from_node[first]]
        self._gas = _gas_prices(network, rules)
        self._last: tuple[int, District, Mapping[int, int]] | None = None

    def __call__(self, number: int) -> tuple[District, Mapping[int, int]]:
        """Return a district, and the rows of its mains by their rows in the whole network."""
        if self._last is None or self._last[0] != number:
            if self._settings.full:
                network = self._network
                mains = list(range(network.pipes.n_mains))
            else:
                network, whole = extract(self._network, self.of_node == number)
                mains = whole.pipe[: network.pipes.n_mains].tolist()
            rows = {main: here for here, main in enumerate(mains)}
            prices, contents = self._gas
            district = District(network, self._rules, self._settings, prices, contents)
            self._last = (number, district, rows)
        return self._last[1], self._last[2]


def screen(
    network: Network,
    rules: Rules,
    settings: ScreenSettings,
    *,
    folder: Path,
    resume: bool = False,
    workers: Workers | None = None,
    tell: Tell = lambda _done, _all: None,
    foresee: Foresee = lambda _: None,
) -> Screen:
    """Ask for every main of a network what its isolation means.

    Parameters
    ----------
    network : Network
    rules : Rules
    settings : ScreenSettings
    folder : Path
        Where finished blocks are kept until all are there.
    resume : bool
        Whether to go on with the blocks found there.
    workers : Workers, optional
    tell : callable, optional
        Called with the number of mains finished and of all mains.
    foresee : callable, optional
        Called before best options are priced, with how long it will take.

    Raises
    ------
    BadInputError
        When the folder cannot be used, or the scheduler cannot be reached.
    """
    if not settings.stops:
        return _at_ends_alone(network, rules, settings)
    # Aside, because the workers take a while to come up, and nobody needs it before they are done.
    with ThreadPoolExecutor(max_workers=1) as aside:
        loss = aside.submit(lost_at_ends, network)
        table, districts = _best_stops(
            network, rules, settings, folder, resume, workers or Workers(), tell, foresee
        )
        return Screen(network, rules, settings, _with_ends(table, loss.result()), loss.result(), districts)


def _at_ends_alone(network: Network, rules: Rules, settings: ScreenSettings) -> Screen:
    """Return what each main loses at its ends, without any stop of planned work."""
    loss = lost_at_ends(network)
    mains = range(network.pipes.n_mains)
    rows = [{**EMPTY_ROW, **named} for named in named_rows(network, settings, mains)]
    table = _with_ends(pa.Table.from_pylist(rows, schema=SCHEMA), loss)
    table = table.drop_columns([*STOP_COLUMNS, *PLAN_COLUMNS, *SEARCH_COLUMNS])
    return Screen(network, rules, settings, table, loss, Districts(network, rules, settings))


def _best_stops(
    network: Network,
    rules: Rules,
    settings: ScreenSettings,
    folder: Path,
    resume: bool,
    workers: Workers,
    tell: Tell,
    foresee: Foresee,
) -> tuple[pa.Table, Districts]:
    """Return the rows of all mains, without what they lose at their ends."""
    districts = Districts(network, rules, settings)
    blocks = split_blocks(districts.of_main, quick=not settings.pressure, full=settings.full)
    kept = BlockFolder(folder, settings.key(network, rules), resume=resume)
    tables: dict[int, pa.Table] = {}
    open_blocks: list[MainBlock] = []
    for block in blocks:
        table = kept.read(block) if resume else None
        if table is None:
            open_blocks.append(block)
        else:
            tables[block.number] = table
    done, count = sum(len(table) for table in tables.values()), network.pipes.n_mains
    if settings.full and open_blocks:
        foresee(screen_duration(districts(0)[0], np.concatenate([b.mains for b in open_blocks]), workers))
    tell(done, count)
    for block, table in work_blocks(open_blocks, districts, workers):
        kept.keep(block, table)
        tables[block.number] = table
        done += len(table)
        tell(done, count)
    table = pa.concat_tables([SCHEMA.empty_table(), *(tables[block.number] for block in blocks)])
    table = table if settings.full else table.drop_columns(list(PLAN_COLUMNS))
    return table.take(pa.array(np.argsort(table["row"].to_numpy(), kind="stable"))), districts


def _with_ends(table: pa.Table, loss: EndLoss) -> pa.Table:
    for name in ("customers", "meters", "priority"):
        place = SCHEMA.get_field_index(f"ends_{name}")
        table = table.set_column(place, SCHEMA.field(place), pa.array(getattr(loss, name), pa.int64()))
    return table


def _gas_prices(network: Network, rules: Rules) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return price and amount of the gas of a cubic metre of pipe, by system.

    As for a plan: at the greatest set outlet pressure of the system's stations, purged in with the rules'
    volumes.
    """
    gas, conditions = gas_of(rules), flow_conditions(rules)
    standard = gas.density_kg_per_m3_at(METRIC_STANDARD)
    amounts = []
    for system in range(len(network.systems)):
        outlet = set_outlet_pa_gauge(network, system)
        outlet = outlet if np.isfinite(outlet) else NO_OUTLET_PA_GAUGE
        pressure = outlet + conditions.atmospheric_pressure_pa_abs
        density = gas.density_kg_per_m3(conditions.ground_temperature_k, pressure)
        amounts.append(density / standard * rules.purge.volumes_in)
    prices = tuple(rules.price.gas_per_m3 * MINOR_PER_UNIT * amount for amount in amounts)
    return prices, tuple(amounts)
