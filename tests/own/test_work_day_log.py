"""A day's log read, recorded in the plan folder and set against the plan: every finding by a log made for it (own)."""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import netplan
from netplan.cli import app as application
from netplan.core.errors import BadInputError
from netplan.outputs.documents.step_list_table import reading_cells
from netplan.outputs.number_format import METRIC, US
from netplan.outputs.output_folders import check_target
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.outputs.work_day.day_review import DayReview, review_day
from netplan.outputs.work_day.expected_reading import reading_limits, weather_table
from netplan.outputs.work_day.feed_drop import most_drop_mbar
from netplan.outputs.work_day.log_file import WORK_DAY_LOG, log_to_json, read_log
from netplan.planfile import model as pm
from netplan.planfile.plan_json import plan_digest, read_plan
from netplan.procedure.step_kinds import Stage
from tests.support.plans import hamlet_result
from tests.support.work_days import work_day_plan

Log = dict[str, Any]


def _at(time: str, day: str = "2026-05-12") -> str:
    return f"{day}T{time}:00.000+01:00"


def _log(*entries: Log, **more: object) -> Log:
    return {
        "kind": WORK_DAY_LOG,
        "plan_sha256": plan_digest(work_day_plan()),
        "option": 1,
        "work": "M-TAIL 20.0 m – 48.0 m",
        "exported": _at("18:00"),
        "entries": list(entries),
        **more,
    }


def _whole_day() -> list[Log]:
    """Return the made-up order done as planned: each step at its planned end."""
    entries: list[Log] = [
        {"at": _at("15:00", "2026-05-11"), "what": "done", "step": 1},
        {"at": _at("08:00"), "what": "air", "air_temp_c": 0.0},
    ]
    for n in range(2, 11):
        minutes = 20 * (n - 1)
        time = _at(f"{8 + minutes // 60:02d}:{minutes % 60:02d}")
        if n in (2, 3, 5):
            expect = 22.0 + 0.05 * minutes / 60.0
            entries.append(_reading(n, time, round(expect, 3)))
        if n == 6:
            entries.append(
                {"at": time, "what": "let-by", "step": 6, "l_min": 4.0, "mbar": 0.2, "resolution_l_min": 0.5}
            )
        if n == 3:
            entries.append({"at": time, "what": "drop", "step": 3, "of": "gas", "mbar": 0.8})
        if n == 7:
            entries.append(_reading(7, time, 0.1) | {"gauge": "Z1-gauge"})
        if n in (7, 10):
            entries.append({"at": time, "what": "done", "step": n})
        else:
            entries.append({"at": time, "what": "signed", "step": n, "name": "A. Miller"})
    off = [c.id for c in work_day_plan().options[0].customers if c.effect == "off"]
    return [*entries, *({"at": _at("11:00"), "what": "meter", "meter": id_, "state": "relit"} for id_ in off)]


def _reading(step: int, time: str, mbar: float, **more: object) -> Log:
    return {
        "at": time,
        "what": "reading",
        "step": step,
        "gauge": "G1",
        "mbar": mbar,
        "air_temp_c": 0.0,
        "verdict": "in band",
        **more,
    }


def _place(entries: list[Log], step: int, what: str = "") -> int:
    return next(k for k, e in enumerate(entries) if e.get("step") == step and what in ("", e["what"]))


@pytest.fixture
def reviewed(tmp_path: Path) -> Callable[..., DayReview]:
    def review(*entries: Log) -> DayReview:
        path = tmp_path / "log.json"
        path.write_text(json.dumps(_log(*entries)))
        return review_day(work_day_plan(), work_day_plan().options[0], read_log(path))

    return review


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    result = replace(hamlet_result(), plan=work_day_plan())
    return write_plan_folder(result, tmp_path_factory.mktemp("plan") / "plan", choices=Choices(papers=False))


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    (tmp_path / "plan").mkdir()
    for name in ("plan.json", "plan.gpkg"):
        (tmp_path / "plan" / name).write_bytes((made / name).read_bytes())
    return tmp_path / "plan"


def test_a_day_as_planned_has_no_findings(reviewed: Callable[..., DayReview]) -> None:
    found = reviewed(*_whole_day())
    assert found.done == tuple(range(1, 11))
    empty = (
        *(found.late, found.left_out, found.skipped, found.out_of_order, found.unsigned, found.readings),
        *(found.not_read, found.let_by, found.drops, found.open_meters, found.clock_set_back),
    )
    assert not any(empty)
    assert found.said_otherwise == 0
    assert found.cut is not None
    assert found.cut[1] == pytest.approx(140 - 330)
    by_stage = {one.stage: one for one in found.stages}
    assert by_stage["stops"].planned_min == by_stage["stops"].actual_min == 20
    assert by_stage["before the day"].actual_min is None
    assert by_stage["baseline"].actual_min is None  # nothing is done before it on that day


def test_late_steps_are_told_with_their_minutes(reviewed: Callable[..., DayReview]) -> None:
    entries = _whole_day()
    for entry in entries:
        if entry.get("step", 0) >= 8:
            entry["at"] = entry["at"].replace("T10:", "T14:").replace("T11:", "T15:")
        elif entry["what"] == "meter":
            entry["at"] = _at("15:00")
    found = reviewed(*entries)
    assert found.late == ((8, 240.0), (9, 240.0), (10, 240.0))
    assert found.cut is not None
    assert found.cut[1] == pytest.approx(14 * 60 + 20 - 8 * 60 - 330)
    assert {one.stage: one.actual_min for one in found.stages}["work"] == 260


def test_skipped_and_left_out_steps_and_unsigned_holds_are_told(reviewed: Callable[..., DayReview]) -> None:
    entries = _whole_day()
    entries.pop(_place(entries, 3, "signed"))
    entries[_place(entries, 7, "done")] |= {"what": "left out", "why": "nothing to purge"}
    entries[_place(entries, 5, "signed")] = {"at": _at("09:20"), "what": "done", "step": 5}
    found = reviewed(*entries)
    assert found.skipped == (3,)
    assert found.left_out == ((7, "nothing to purge"),)
    assert found.unsigned == (3, 5)
    assert 7 not in found.done
    # A hold that nobody came to is not passed.
    assert reviewed(*entries[: _place(entries, 4, "signed") + 1]).unsigned == (3,)


def test_what_is_taken_back_counts_as_not_done(reviewed: Callable[..., DayReview]) -> None:
    entries = _whole_day()
    found = reviewed(*entries, {"at": _at("11:10"), "what": "taken back", "step": 9})
    assert 9 not in found.done
    assert found.skipped == found.unsigned == (9,)


def test_steps_out_of_their_planned_order_are_told(reviewed: Callable[..., DayReview]) -> None:
    entries = _whole_day()
    entry = entries.pop(_place(entries, 3, "signed"))
    entries.insert(_place(entries, 6, "let-by"), entry | {"at": _at("09:30")})
    assert reviewed(*entries).out_of_order == ((4, 3), (5, 3))


def test_readings_are_judged_anew_from_the_plan(reviewed: Callable[..., DayReview]) -> None:
    entries = [
        _reading(2, _at("09:30"), 22.58),  # 22 + 0.05 * 1.5 = 22.075, band 0.5: out, whatever the page said
        _reading(2, _at("09:31"), 22.5),
        _reading(3, _at("09:32"), 20.0, verdict="abort low"),
        _reading(5, _at("17:30"), 22.5, verdict="outside table"),
        _reading(5, _at("17:31"), 76.0, verdict="abort high", air_temp_c=40.0),
    ]
    found = reviewed(*entries)
    assert [(one.step, one.verdict, one.mended) for one in found.readings] == [
        (2, "outside band", True),
        (3, "abort low", False),
        (5, "outside table", False),
        (5, "abort high", False),
    ]
    assert found.readings[0].expect_mbar == pytest.approx(22.075)
    assert found.said_otherwise == 1
    without = _whole_day()
    without.pop(_place(without, 5, "reading"))
    assert reviewed(*without).not_read == ((5, "G1"),)


def test_a_vented_pipe_reads_nothing_in_any_weather() -> None:
    vented = pm.Reading(
        gauge_id="Z1-gauge",
        expect_mbar=0.0,
        band_mbar=0.2,
        warning_mbar=None,
        abort_mbar=None,
        abort_high_mbar=50.0,
    )
    assert weather_table(vented).at(None, 3.0) == weather_table(vented).at(-40.0, 23.5) == 0.0
    live = vented.model_copy(update={"expect_mbar": 23.0})
    assert weather_table(live).at(-8.0, 8.0) is None  # said of no weather
    one = live.model_copy(update={"air_temp_c": -8.0, "hour": 8})
    assert weather_table(one).at(-8.0, 8.5) == 23.0
    assert weather_table(one).at(-7.0, 8.5) is None
    assert weather_table(one).at(-8.0, 9.0) is None
    cold = one.model_copy(update={"expect_mbar": 0.0})
    assert weather_table(cold).at(-7.0, 8.0) is None


def test_limits_are_those_on_paper() -> None:
    """The same rounding as the cells of the work pack: abort low up, abort high and band down."""
    reading = work_day_plan().options[0].steps[1].readings[0]
    odd = {"abort_mbar": 20.012, "abort_high_mbar": 74.999, "warning_mbar": 21.01, "band_mbar": 0.57}
    reading = reading.model_copy(update=odd)
    for units in (METRIC, US):
        cells = [float(cell) for cell in reading_cells(reading, units)[2:]]
        limits = reading_limits(reading, units)
        size = 1.0 if units is METRIC else 2.4908891
        held = (limits.band_mbar, limits.warning_mbar, limits.abort_mbar, limits.abort_high_mbar)
        assert [value / size for value in held if value is not None] == pytest.approx(cells, abs=1e-5)
    assert reading_limits(reading, METRIC).abort_mbar == 20.1
    assert reading_limits(reading, METRIC).abort_high_mbar == 74.9


def test_a_reading_is_judged_by_what_the_clock_showed(reviewed: Callable[..., DayReview]) -> None:
    entry = _reading(2, _at("16:30"), 22.4) | {"clock": _at("08:00")}
    found = reviewed(entry)
    assert not found.readings  # 22.0 at 08:00; 22.4 at 16:00
    assert [time.hour for time in found.clock_set_back] == [16]


@pytest.mark.parametrize(
    ("result", "fault"),
    [
        ({"l_min": 5.0, "mbar": 0.5, "resolution_l_min": 1.0}, ""),
        ({"l_min": 5.1, "mbar": 0.5, "resolution_l_min": 1.0}, "above its limit"),
        ({"l_min": 1.0, "mbar": 0.6, "resolution_l_min": 1.0}, "above its limit"),
        ({"l_min": 1.0, "mbar": 0.5, "resolution_l_min": 1.1}, "read with too coarse a meter"),
        ({"l_min": 1.0, "resolution_l_min": 1.0}, "without a whole result"),
        ({"l_min": 1.0, "mbar": 0.5}, "without a whole result"),
    ],
)
def test_let_by_tests_are_judged(reviewed: Callable[..., DayReview], result: Log, fault: str) -> None:
    entries = _whole_day()
    place = _place(entries, 6, "let-by")
    entries[place] = {"at": entries[place]["at"], "what": "let-by", "step": 6, **result}
    assert reviewed(*entries).let_by == (((6, fault),) if fault else ())


def test_the_drop_along_a_bypass_is_judged(reviewed: Callable[..., DayReview]) -> None:
    entries = _whole_day()
    place = _place(entries, 3, "drop")
    entries[place] |= {"mbar": 1.3}
    assert not reviewed(*entries).drops  # 1.36 mbar at most, 1.3 as printed
    entries[place] |= {"mbar": 1.31}
    assert reviewed(*entries).drops == ((3, "drop along B1 above the most"),)
    entries.pop(place)
    assert reviewed(*entries).drops == ((3, "drop along B1 not measured"),)


def test_a_bypass_is_measured_with_air_until_it_is_coupled() -> None:
    step = work_day_plan().options[0].steps[2]
    assert step.feed_test is not None
    assert most_drop_mbar(step, step.feed_test, METRIC) == 1.3
    before = step.model_copy(update={"stage": Stage.FEED_MEASURED.value})
    assert most_drop_mbar(before, step.feed_test, METRIC) == 2.2


def test_meters_that_are_not_relit_are_open(reviewed: Callable[..., DayReview]) -> None:
    entries = _whole_day()
    entries[-1] |= {"state": "no access"}
    entries.pop(-2)
    found = reviewed(*entries)
    assert sorted(one.state for one in found.open_meters) == ["no access", "on"]
    assert all(one.address for one in found.open_meters)


def test_an_old_plan_without_an_order_is_reviewed_all_the_same() -> None:
    plan = hamlet_result().plan
    log = read_log_of(_log({"at": _at("09:00"), "what": "done", "step": 3}))
    found = review_day(plan, plan.options[1], log)
    assert found.done == (3,)
    assert found.skipped == (1, 2)
    assert found.unsigned == (1, 3)
    assert found.late == ()
    assert found.cut is None


def read_log_of(data: Log) -> Any:
    from netplan.outputs.work_day.log_file import WorkDayLog

    return WorkDayLog.model_validate(data)


# Recording.


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: object) -> int:
    monkeypatch.setattr("sys.argv", ["gas-netplan", *map(str, arguments)])
    with pytest.raises(SystemExit) as left:
        application.main()
    return int(left.value.code or 0)


def _write(path: Path, data: object) -> Path:
    path.write_text(json.dumps(data), encoding="utf-8")
    return path


def test_record_writes_a_new_file_each_time_and_changes_nothing(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    log = _write(tmp_path / "log.json", _log(*_whole_day()))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert _run(monkeypatch, "record", folder, log) == 0
    said = capsys.readouterr().out
    assert str(folder / "work_day_log_1.json") in said
    assert "Steps: 10 of 10 done" in said
    assert "Readings not in band: none" in said
    assert _run(monkeypatch, "record", folder, log) == 0
    assert {path.name for path in folder.iterdir()} == {*before, "work_day_log_1.json", "work_day_log_2.json"}
    assert {name: (folder / name).read_bytes() for name in before} == before
    assert read_log(folder / "work_day_log_1.json") == read_log(log)
    assert (folder / "work_day_log_1.json").read_bytes() == (folder / "work_day_log_2.json").read_bytes()
    assert read_plan(folder) == work_day_plan()


def test_record_prints_what_differs(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    entries = [e for e in _whole_day() if e.get("step") != 4 and e["what"] != "meter"]
    entries[_place(entries, 5, "reading")] |= {"mbar": 20.0, "verdict": "abort low"}
    monkeypatch.setenv("COLUMNS", "80")
    assert _run(monkeypatch, "record", folder, _write(tmp_path / "log.json", _log(*entries))) == 0
    printed = capsys.readouterr().out
    assert all(len(line) <= 80 for line in printed.splitlines() if not line.startswith("Recorded: /"))
    said = " ".join(printed.split())
    assert "Skipped, a later step is done: 1 step 4" in said
    assert "Holds passed without a signature: 1 step 4" in said
    assert "step 5, G1 at 09:20: 20.0 mbar, expected 22.1 mbar: abort low" in said
    assert "Meters not closed: 8" in said
    assert "stops 5 20 min 40 min" in said
    assert _run(monkeypatch, "record", folder, tmp_path / "log.json", "--units", "us") == 0
    assert "in. w.c." in capsys.readouterr().out


BAD: tuple[tuple[str, Callable[[Log], object], str], ...] = (
    ("kind", lambda log: log | {"kind": "gas-netplan/contact-log/9"}, f"known kinds: {WORK_DAY_LOG}"),
    ("no header", lambda log: log["entries"], "is no log that can be recorded: kind is None"),
    ("plan", lambda log: log | {"plan_sha256": "0" * 64}, "is the log of another plan (00000000"),
    ("option", lambda log: log | {"option": 3}, "option 3: the plan has options 1 to 2"),
    ("more", lambda log: log | {"colour": "red"}, "colour: Extra inputs are not permitted"),
    ("step", lambda log: log | {"entries": [{"at": _at("09:00"), "what": "done", "step": 11}]}, "entry 1: option 1 has no step 11"),
    ("gauge", lambda log: log | {"entries": [_reading(4, _at("09:00"), 22.0)]}, "has no gauge 'G1' at step 4"),
    ("meter", lambda log: log | {"entries": [{"at": _at("09:00"), "what": "meter", "meter": "nobody", "state": "off"}]}, "has no meter 'nobody' that goes off"),
    ("state", lambda log: log | {"entries": [{"at": _at("09:00"), "what": "meter", "meter": "C0132", "state": "lost"}]}, "entries.0.meter.state: Input should be"),
    ("time", lambda log: log | {"entries": [{"at": "2026-05-12", "what": "done", "step": 1}]}, "entries.0.done.at: Value error, is no time"),
    ("no time", lambda log: log | {"entries": [{"at": "2026-13-12T09:00:00.000+01:00", "what": "done", "step": 1}]}, "entries.0.done.at"),
    ("what", lambda log: log | {"entries": [{"at": _at("09:00"), "what": "guess"}]}, "entries.0: Input tag 'guess'"),
    ("order", lambda log: log | {"entries": list(reversed(log["entries"]))}, "not in time order at entry"),
    ("text", lambda log: log | {"entries": [_reading(2, _at("09:00"), 22.0) | {"mbar": "22"}]}, "entries.0.reading.mbar"),
)  # fmt: skip


@pytest.mark.parametrize(("change", "says"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_logs_are_refused_in_one_line(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    change: Callable[[Log], object],
    says: str,
) -> None:
    log = _write(tmp_path / "log.json", change(_log(*_whole_day())))
    before = sorted(path.name for path in folder.iterdir())
    assert _run(monkeypatch, "record", folder, log) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1
    assert sorted(path.name for path in folder.iterdir()) == before


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe", "is not UTF-8"),
        (b"", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
        (b'{"kind": NaN}', "is not JSON"),
        (b'"gas-netplan/work-day-log/1"', "kind is None"),
    ],
)
def test_files_that_are_no_log_are_refused(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    content: bytes,
    says: str,
) -> None:
    (tmp_path / "log.json").write_bytes(content)
    assert _run(monkeypatch, "record", folder, tmp_path / "log.json") == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1


def test_many_recorders_at_once_each_have_a_file_of_their_own(folder: Path, tmp_path: Path) -> None:
    logs = [
        _write(tmp_path / f"{k}.json", _log({"at": _at("09:00"), "what": "note", "text": f"note {k}"}))
        for k in range(12)
    ]
    with ThreadPoolExecutor(6) as pool:
        recorded = list(pool.map(lambda log: netplan.record_log(folder, log), logs))
    assert len({one.path for one in recorded}) == 12
    for log, one in zip(logs, recorded, strict=True):
        assert read_log(one.path) == read_log(log)
    assert not [path.name for path in folder.iterdir() if path.name.startswith(".")]


def test_what_cannot_be_written_leaves_nothing(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = _write(tmp_path / "log.json", _log(*_whole_day()))
    before = sorted(path.name for path in folder.iterdir())

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "link", full)
    with pytest.raises(BadInputError, match="disk is full"):
        netplan.record_log(folder, log)
    assert sorted(path.name for path in folder.iterdir()) == before


def test_without_links_a_log_is_recorded_too(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = _write(tmp_path / "log.json", _log(*_whole_day()))

    def refused(*_: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    names = [netplan.record_log(folder, log).path.name for _ in range(2)]
    assert names == ["work_day_log_1.json", "work_day_log_2.json"]
    assert read_log(folder / names[1]) == read_log(log)


def test_a_plan_folder_with_a_log_is_never_replaced(folder: Path, tmp_path: Path) -> None:
    assert check_target(folder, overwrite=True).seen is not None
    netplan.record_log(folder, _write(tmp_path / "log.json", _log()))
    with pytest.raises(BadInputError, match="holds the log of a day's work"):
        check_target(folder, overwrite=True)


def test_a_log_is_the_same_written_and_read(tmp_path: Path) -> None:
    path = _write(tmp_path / "log.json", _log(*_whole_day()))
    first = read_log(path)
    path.write_text(log_to_json(first), encoding="utf-8")
    assert read_log(path) == first
    assert log_to_json(read_log(path)) == log_to_json(first)
