"""Bypasses, hoses and opened valves as they stand in a plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.feeds import FeedKind, SizedFeed
from netplan.feeds.feed_links import Tap
from netplan.network.linear_reference import points_at
from netplan.planfile import model
from netplan.planfile.naming import bypass_id
from netplan.planning.context import PlanningContext
from netplan.planning.crew_day import in_currency
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.feeds_for_part import stops_of_bypass, tee_places
from netplan.planning.stopped_network import tap_place
from netplan.planning.weather_limits import NOT_LOOKED_FOR, FeedWeather, Weather

__all__ = ["WrittenFeeds", "feeds_of", "weather_lines"]


@dataclass(frozen=True, slots=True)
class WrittenFeeds:
    """Feeds of an option.

    Parameters
    ----------
    bypasses : tuple of model.Bypass
    opened : tuple of model.OpenedValve
    ids : tuple of (str or None)
        For each deficient part the id of its feed: B1 … or a valve's id; None without one of its own.
    """

    bypasses: tuple[model.Bypass, ...]
    opened: tuple[model.OpenedValve, ...]
    ids: tuple[str | None, ...]


def feeds_of(context: PlanningContext, option: EvaluatedOption, weather: Weather) -> WrittenFeeds:
    """Return the feeds of an option with their figures.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    weather : Weather
        Until how cold each feed holds, and what it could carry beyond.
    """
    bypasses: list[model.Bypass] = []
    opened: list[model.OpenedValve] = []
    ids: list[str | None] = []
    for part, feed, beyond in zip(option.deficient, option.feeds, weather.feeds, strict=True):
        if feed is None or beyond is None:
            ids.append(None)
        elif feed.size.feed.kind is FeedKind.VALVE:
            valve_id = feed.size.feed.label
            opened.append(
                model.OpenedValve(
                    valve_id=valve_id,
                    flow_m3h=feed.flow_m3_per_s_std * SECONDS_PER_HOUR,
                    price=in_currency(feed.price_minor),
                )
            )
            ids.append(valve_id)
        else:
            ident = bypass_id(len(bypasses))
            bypasses.append(_bypass(context, option, feed, ident, len(part.customers), beyond))
            ids.append(ident)
    return WrittenFeeds(tuple(bypasses), tuple(opened), tuple(ids))


def _bypass(
    context: PlanningContext,
    option: EvaluatedOption,
    feed: SizedFeed,
    ident: str,
    customers: int,
    beyond: FeedWeather,
) -> model.Bypass:
    start, stop = _ends(context, option, feed)
    size = feed.size
    return model.Bypass(
        id=ident,
        kind="hose" if size.feed.kind is FeedKind.HOSE else "bypass",
        from_=start,
        to=stop,
        flow_m3h=feed.flow_m3_per_s_std * SECONDS_PER_HOUR,
        bore_mm=size.bore_m * MM_PER_M,
        parallel=size.parallel,
        length_m=size.feed.length_m,
        loss_coefficient=feed.loss_coefficient,
        outlet_from_mm=size.feed.outlets_mm[0],
        outlet_to_mm=size.feed.outlets_mm[1],
        most_parallel=min(size.feed.most_parallel, context.request.rules.bypass.parallel_max),
        drop_mbar=feed.drop_pa / PA_PER_MBAR,
        velocity_m_s=feed.velocity_m_per_s,
        pressure_from_mbar=feed.pressure_from_pa_gauge / PA_PER_MBAR,
        pressure_to_mbar=feed.pressure_to_pa_gauge / PA_PER_MBAR,
        spare_m3h=None if beyond.spare_m3_per_s_std is None else beyond.spare_m3_per_s_std * SECONDS_PER_HOUR,
        minimum_air_temp_c=beyond.coldest_c,
        customers=customers,
        price=in_currency(feed.price_minor),
        tees_price=in_currency(feed.size.feed.tees_minor),
        route=() if size.feed.route is None else size.feed.route.xy,
        crossings=size.feed.crossings,
        route_note="" if size.feed.route is None else size.feed.route.note,
    )


def _ends(
    context: PlanningContext, option: EvaluatedOption, feed: SizedFeed
) -> tuple[model.Place, model.Place]:
    network = context.request.network
    if feed.size.feed.kind is FeedKind.BYPASS:
        pipe, chainage, xy = tee_places(network, option.cut)
        rows = stops_of_bypass(feed.size.feed.label)
        start, stop = (
            model.Place(
                main_id=network.pipes.id[pipe[row]],
                chainage_m=float(chainage[row]),
                x=float(xy[row, 0]),
                y=float(xy[row, 1]),
            )
            for row in rows
        )
        return start, stop
    assert option.fed is not None  # noqa: S101 - a hose is only ever sized in a fed network
    way = option.fed.hoses[feed.size.feed.label]
    return _at_tap(context, option, way.giving), _at_tap(context, option, way.fed)


def _at_tap(context: PlanningContext, option: EvaluatedOption, tap: Tap) -> model.Place:
    network, stopped = context.request.network, option.stopped
    assert stopped is not None  # noqa: S101 - as above
    pipe, chainage = tap_place(network, stopped, tap)
    xy = points_at(network, np.array([pipe]), np.array([chainage]))[0]
    return model.Place(main_id=network.pipes.id[pipe], chainage_m=chainage, x=float(xy[0]), y=float(xy[1]))


def weather_lines(weather: Weather, feed_ids: tuple[str | None, ...]) -> tuple[model.WeatherLine, ...]:
    """Return until how cold an option holds as planned, and with other sizes of each feed."""
    if weather.reason == NOT_LOOKED_FOR:
        return ()
    lines = [
        model.WeatherLine(
            feed="", choice="as planned", coldest_air_temp_c=weather.coldest_c, fails_by=weather.reason
        )
    ]
    lines.extend(
        model.WeatherLine(
            feed="",
            choice=f"as planned, {row.label}",
            coldest_air_temp_c=row.coldest_c,
            fails_by=row.reason,
        )
        for row in weather.hours
    )
    for ident, feed in zip(feed_ids, weather.feeds, strict=True):
        lines.extend(
            model.WeatherLine(
                feed=str(ident), choice=row.label, coldest_air_temp_c=row.coldest_c, fails_by=row.reason
            )
            for row in (feed.ladder if feed is not None else ())
        )
    return tuple(lines)
