"""The commissioning record: one JSON file and the same in words, dated, beside the record."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from controller import display
from controller.airflow.span import Span
from controller.commissioning.course import Result
from controller.commissioning.decay import Decay, NoDecay
from controller.commissioning.fan_step import FanRun, UndrivenRun
from controller.commissioning.findings import TrialFinding
from controller.commissioning.sensors_step import SensorsResult
from controller.commissioning.talk import fitted
from controller.config import Loaded, Settings
from controller.errors import UserError

FORMAT = "lungwort-commissioning-1"
_WIDTH = 80  # of the text, which is read anywhere
# More than both files come to.
_ROOM_BYTES = 256 * 1024


@dataclass(frozen=True, slots=True)
class Report:
    """What was found, of which tent, when.

    Attributes
    ----------
    at_s : float
        When it was finished [Unix s].
    config : str
        The config file.
    loaded : Loaded
        What it said.
    result : Result
        What came out.
    simulated : bool
        Whether the rig was a simulated one.
    """

    at_s: float
    config: str
    loaded: Loaded
    result: Result
    simulated: bool

    @property
    def settings(self) -> Settings:
        """The tent's settings."""
        return self.loaded.settings

    @property
    def time(self) -> dt.datetime:
        """When, on the tent's clock."""
        return dt.datetime.fromtimestamp(self.at_s, ZoneInfo(self.settings.place.timezone))

    @property
    def verdict(self) -> str:
        """How it went, in a few words."""
        if self.result.unfinished:
            return f"unfinished: {self.result.unfinished}"
        faults = sum(finding.grade == "fault" for finding in self.result.findings)
        advice = sum(finding.grade == "advice" for finding in self.result.findings)
        if faults:
            return f"not ready: {faults} {'fault' if faults == 1 else 'faults'}"
        if advice:
            return f"ready, with {advice} {'hint' if advice == 1 else 'hints'}"
        return "ready"

    def as_json(self) -> dict[str, object]:
        """Everything in SI, with units in the keys."""
        result = self.result
        return {
            "format": FORMAT,
            "time": self.time.isoformat(timespec="seconds"),
            "tent": self.settings.tent.name,
            "config": self.config,
            "config_sha256": self.loaded.sha256,
            "simulated": self.simulated,
            "verdict": self.verdict,
            "sensors": None if result.sensors is None else _sensors(result.sensors),
            "fan": [
                {
                    "speed": run.speed,
                    "rpm": run.rpm,
                    "draws_current": run.draws_current,
                    "air_seen": run.seen or None,
                }
                for run in result.runs
            ],
            "fan_undriven": self._undriven(),
            "air_change": self._air_change(),
            "findings": [asdict(finding) for finding in result.findings],
        }

    def _undriven(self) -> dict[str, object] | None:
        run = self.result.undriven
        if run is None:
            return None
        return {
            "expected_to_turn": run.expected,
            "turns": run.turns,
            "pin_floats": run.pin_floats,
            "rpm": run.rpm,
            "draws_current": run.draws_current,
            "air_seen": run.seen or None,
        }

    def _air_change(self) -> dict[str, object] | None:
        timed = self.result.air_change
        if timed is None:
            return None
        return {
            "speed": timed.speed,
            "by_humidity": _decay(timed.humidity, "kg_per_kg"),
            "by_temperature": _decay(timed.temperature, "c"),
            "flow_m3_s": _span(timed.flow_m3_s),
            "calculated_flow_m3_s": _span(timed.calculated_m3_s),
        }

    def as_text(self) -> str:
        """The same for people."""
        units = self.settings.units
        lines = [
            f"Commissioning of {self.settings.tent.name}, {self.time:%Y-%m-%d %H:%M}",
            f"Config {self.config} (SHA-256 {self.loaded.sha256[:16]}…)",
        ]
        if self.simulated:
            lines.append("SIMULATED: nothing real was measured.")
        lines += [f"Verdict: {self.verdict}", ""]
        if self.result.sensors is not None:
            lines.append("Sensors (means over the time, offsets of the config included)")
            for sensor in self.result.sensors.heard:
                count = len(sensor.temperatures_c)
                means = "no readings"
                if count:
                    mean_c = display.temperature(sum(sensor.temperatures_c) / count, units)
                    means = mean_c
                    if sensor.humidities_pct:
                        mean_pct = sum(sensor.humidities_pct) / len(sensor.humidities_pct)
                        means += f", {mean_pct:.1f} %"
                lines.append(
                    f"  {sensor.name} ({sensor.role}, {sensor.driver}): {means}; "
                    f"{count} readings, {sensor.failures} failed"
                )
            lines.append("")
        if self.result.runs:
            lines.append("Fan")
            for run in self.result.runs:
                lines.append(f"  {display.speed(run.speed):>9}  {_seen(run)}")
            undriven = self.result.undriven
            if undriven is not None:
                lines.append(f"  {'let go':>9}  {_seen(undriven)}")
            lines.append("")
        lines.append("Found")
        lines += [fitted(finding.marked(), _WIDTH) for finding in self.result.findings]
        return "\n".join(lines) + "\n"


def _seen(run: FanRun | UndrivenRun) -> str:
    measured = "rpm not measured" if run.rpm is None else f"{run.rpm:.0f} rpm"
    if run.draws_current is not None:
        measured += ", draws current" if run.draws_current else ", draws no current"
    return f"{measured}, tissue at the intake: {run.seen}" if run.seen else measured


def _sensors(result: SensorsResult) -> dict[str, object]:
    by_name: dict[str, dict[str, object]] = {
        sensor.name: {
            "sensor": sensor.name,
            "role": sensor.role,
            "driver": sensor.driver,
            "readings": len(sensor.temperatures_c),
            "failures": sensor.failures,
        }
        for sensor in result.heard
    }
    units = {"temperature": ("c", "k"), "humidity": ("pct", "pct")}
    for quantity, samples in result.samples.items():
        unit, difference = units[quantity]
        for sample in samples:
            by_name[sample.sensor][f"{quantity}_{unit}"] = sample.mean
            by_name[sample.sensor][f"{quantity}_scatter_{difference}"] = sample.scatter
        for verdict in result.verdicts[quantity]:
            by_name[verdict.sensor][f"{quantity}_compared"] = {
                "against": verdict.against,
                f"difference_{difference}": verdict.difference,
                f"allowed_{difference}": verdict.allowed,
                "agrees": verdict.agrees,
                f"suggested_offset_{difference}": verdict.suggested_offset,
            }
    return {
        "side_by_side": result.together,
        "thermometer_c": result.thermometer_c,
        "hygrometer_pct": result.hygrometer_pct,
        "each": list(by_name.values()),
    }


def _decay(decay: Decay | NoDecay, unit: str) -> dict[str, object]:
    if isinstance(decay, NoDecay):
        bound = decay.at_least_per_s
        return {
            "timed": False,
            "reason": decay.reason,
            "time_constant_at_most_s": None if bound is None else 1.0 / bound,
        }
    return {
        "timed": True,
        "time_constant_s": decay.time_constant_s,
        "time_constant_low_s": 1.0 / decay.high_per_s,
        "time_constant_high_s": 1.0 / decay.low_per_s,
        "changes_per_h": decay.rate_per_s * 3600.0,
        f"start_{unit}": decay.start,
        f"settled_{unit}": decay.settled,
        f"scatter_{unit}": decay.scatter,
        "readings": decay.samples,
    }


def _span(span: Span | None) -> dict[str, float] | None:
    return None if span is None else asdict(span)


def worst(findings: list[TrialFinding]) -> str:
    """The gravest grade among the findings: "fine" without any."""
    grades = {finding.grade for finding in findings}
    return next((grade for grade in ("fault", "advice") if grade in grades), "fine")


def try_directory(directory: Path) -> None:
    """Find out whether `write` could write there, before anybody stands in the tent for it.

    Nothing stays behind: a directory that is not there yet is tried in the one that it would be
    made in.

    Raises
    ------
    UserError
        If it could not.
    """
    there = directory
    while not there.exists() and there != there.parent:
        there = there.parent
    try:
        with tempfile.TemporaryFile(dir=there) as file:
            file.write(b" " * _ROOM_BYTES)
    except OSError as error:
        raise _unwritable(directory, error) from error


def write(report: Report, directory: Path) -> tuple[Path, Path]:
    """Write JSON and text; earlier ones are never overwritten.

    Returns
    -------
    tuple of pathlib.Path
        The JSON file and the text file.

    Raises
    ------
    UserError
        If they can't be written.
    """
    stem = report.settings.record_path.stem
    kind = "commissioning-simulated" if report.simulated else "commissioning"
    name = f"{stem}-{kind}-{report.time:%Y%m%d-%H%M%S}"
    data = json.dumps(report.as_json(), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for number in range(1, 100):
            unique = name if number == 1 else f"{name}-{number}"
            paths = directory / f"{unique}.json", directory / f"{unique}.txt"
            try:
                with paths[0].open("x", encoding="utf-8") as file:
                    file.write(data)
            except FileExistsError:
                continue
            paths[1].write_text(report.as_text(), encoding="utf-8")
            return paths
    except OSError as error:
        raise _unwritable(directory, error) from error
    raise UserError(f"there are too many commissioning records named {name} in {directory}")


def _unwritable(directory: Path, error: OSError) -> UserError:
    return UserError(
        f"cannot write the commissioning record in {directory}: {error.strerror}; "
        "name another directory with --output"
    )
