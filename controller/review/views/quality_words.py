"""How far a record can be trusted, in words."""

from __future__ import annotations

from controller import display
from controller.display import hours_and_minutes
from controller.review.phrases import counted
from controller.review.quality import ActiveSpan, Co2Span
from controller.review.report import Review
from controller.sensors.data_sheets import usual_loss_pct


def quality_sentences(review: Review) -> list[str]:
    """How far the data can be trusted: at least one sentence."""
    quality, period = review.quality, review.period
    sentences = []
    if quality.gaps:
        longest = max(quality.gaps, key=lambda gap: gap.minutes)
        whole = sum(gap.minutes for gap in quality.gaps)
        sentences.append(
            f"{quality.readings} readings, {quality.readings_missed} missed: "
            f"{hours_and_minutes(whole)} in {counted(len(quality.gaps), 'gap')}, the longest "
            f"{period.span(longest.start_ms, longest.end_ms)}{_jumped_over_words(review)}."
        )
    else:
        sentences.append(f"{quality.readings} readings, {_without_value(review)}.")
    sentences += _fault_sentences(review)
    sentences += [
        f"Sensor {name} stood at the end of its range for {hours_and_minutes(minutes)}: how much "
        "hotter it was is not known."
        for name, minutes in sorted(quality.beyond_range.items())
    ]
    sentences += [_loss_sentence(review, name) for name in sorted(quality.failures)]
    sentences += [
        f"CO2 by {name}: {display.co2(co2.mean)} on average, from {display.co2(co2.lowest)} to "
        f"{display.co2(co2.highest)}{_low_co2_words(co2)}."
        for name, co2 in sorted(quality.co2_ppm.items())
    ]
    if quality.starts_ms:
        times = ", ".join(period.when(at_ms) for at_ms in quality.starts_ms[:6])
        more = "" if len(quality.starts_ms) <= 6 else f" and {len(quality.starts_ms) - 6} more"
        unclean = (
            f"; {quality.unclean_starts} after it ended without a word (power cut or crash)"
            if quality.unclean_starts
            else ""
        )
        sentences.append(f"Daemon started at {times}{more}{unclean}.")
    sentences += [
        f"Clock stepped {clock_step_words(review, *step)}." for step in quality.clock_steps[:6]
    ]
    if quality.config_changes_ms:
        times = ", ".join(period.when(at_ms) for at_ms in quality.config_changes_ms[:6])
        sentences.append(
            f"Config changed at {times}; each reading is judged by the one then in force."
        )
    if quality.configs_unreadable:
        sentences.append(
            f"{quality.configs_unreadable} of the configs then in force cannot be read by this "
            "version; the present bands stand in for them."
        )
    return sentences


def clock_step_words(review: Review, at_ms: float, by_s: float) -> str:
    """Such as "back by 3 h at 08:00"."""
    way = "forward" if by_s >= 0 else "back"
    return f"{way} by {display.duration(abs(by_s))} at {review.period.when(at_ms)}"


def _jumped_over_words(review: Review) -> str:
    jumped = review.quality.minutes_jumped_over
    if jumped < 1.0:
        return ""
    return f"; the clock jumped over {hours_and_minutes(jumped)} of it"


def _low_co2_words(co2: Co2Span) -> str:
    if co2.low_minutes < 1.0:
        return ""
    return f"; too little of it in the light for {hours_and_minutes(co2.low_minutes)}"


def _without_value(review: Review) -> str:
    """What to say of readings that came without a gap: they may hold nothing all the same."""
    missing = review.figures.temperature.minutes.missing - review.quality.minutes_to_come
    if missing >= 1.0:
        return f"none missed, but no trustworthy value of the tent for {hours_and_minutes(missing)}"
    if review.quality.sensor_faults:
        return "none missed, but a sensor was faulty"
    return "none missed"


def _loss_sentence(review: Review, name: str) -> str:
    """How many of a sensor's measurements failed, beside what is usual for its kind."""
    quality = review.quality
    failed, tried = quality.failures[name], quality.tried.get(name)
    if not tried:
        return f"{name}: {failed:,} measurements failed or were refused."
    about = "about " if name in quality.tried_estimated else ""
    share = 100.0 * failed / tried
    text = (
        f"{name}: {failed:,} of {about}{tried:,} measurements failed or were refused "
        f"({'under 1' if share < 1.0 else f'{share:.0f}'} %"
    )
    sensors = {sensor.name: sensor for sensor in review.settings.sensors}
    if name in sensors:
        low, high = usual_loss_pct(sensors[name])
        usual = f"under {high:.0f}" if low == 0.0 else f"{low:.0f}–{high:.0f}"
        text += f", usual for this kind is {usual} %"
    return f"{text})."


def _fault_sentences(review: Review) -> list[str]:
    """One sentence for each fault of a sensor, however often it came."""
    period = review.period
    kinds: dict[tuple[str, str], list[ActiveSpan]] = {}
    for fault in review.quality.sensor_faults:
        kinds.setdefault((fault.what, fault.detail or "failed"), []).append(fault)
    sentences = []
    for (sensor, fault_name), faults in kinds.items():
        whole = hours_and_minutes(sum(fault.minutes for fault in faults))
        longest = max(faults, key=lambda fault: fault.minutes)
        text = f"Sensor {sensor} {fault_name} "
        if len(faults) == 1:
            text += f"from {period.when(longest.start_ms)} for {whole}"
        else:
            text += (
                f"{len(faults)} times, {whole} together, the longest from "
                f"{period.when(longest.start_ms)} for {hours_and_minutes(longest.minutes)}"
            )
        if longest.unmoved_ms is not None:
            text += f"; its values had not moved since {period.when(longest.unmoved_ms)}"
        sentences.append(f"{text}{', not recovered' if faults[-1].is_active else ''}.")
    return sentences
