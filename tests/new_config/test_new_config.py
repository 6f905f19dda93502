"""Every config that `lungwort new` can write passes the config's checks."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller import pwm_pins
from controller.config import settings_from_text
from controller.config.quantities import RefusedError
from controller.errors import UserError
from controller.kernel_sensors import AIR, known_sensor
from controller.new_config.answers import accept, ask, build, check_given, complete
from controller.new_config.questions import BY_KEY, QUESTIONS, UNKNOWN

NO_DEFAULTS: dict[str, str] = {}


def combinations(*keys: str) -> Iterator[dict[str, str]]:
    """Every combination of the answers that are chosen from the lists of some questions."""
    for chosen in itertools.product(*(BY_KEY[key].choices for key in keys)):
        yield dict(zip(keys, chosen, strict=True))


@pytest.mark.parametrize("drive", BY_KEY["fan_drive"].choices)
def test_every_drive_with_every_sensor_passes_the_checks(drive: str) -> None:
    for chosen in combinations("units", "sensor"):
        answers = {"name": "tent", "fan_drive": drive, **chosen}
        built = build(complete(answers, NO_DEFAULTS)).loaded.settings
        assert built.fan.drive == drive
        assert (built.fan.pin is None) == (drive == "dac")
        assert built.units == chosen["units"]
        (sensor,) = built.sensors
        if not chosen["sensor"].startswith("dht"):
            known = known_sensor(sensor.driver, sensor.device)
            assert known is not None
            assert known.measures >= AIR


def test_every_crop_at_every_stage_passes_the_checks() -> None:
    tried = 0
    for chosen in combinations("units", "crop", "stage"):
        built = build(complete({"name": "tent", **chosen}, NO_DEFAULTS)).loaded.settings
        assert built.crop is not None
        assert (built.crop.kind, built.crop.stage) == (chosen["crop"], chosen["stage"])
        tried += 1
    assert tried == 2 * 6 * 4


@pytest.mark.parametrize(("units", "zero"), [("si", "0 m"), ("us", "0 ft")])
def test_the_elevation_stands_in_the_units_asked_for(units: str, zero: str) -> None:
    new = build(complete({"name": "tent", "units": units}, NO_DEFAULTS))
    assert f"elevation: {zero} #" in new.loaded.text


def number(low: float, high: float) -> st.SearchStrategy[str]:
    return st.floats(low, high).map(lambda value: f"{value:.1f}")


SIDES = st.one_of(
    number(20.0, 1000.0).map(lambda n: f"{n} cm"),
    number(0.3, 10.0).map(lambda n: f"{n} m"),
    number(8.0, 390.0).map(lambda n: f"{n} in"),
    number(8.0, 390.0).map(lambda n: f'{n}"'),
    st.tuples(st.integers(1, 30), st.integers(0, 11)).map(lambda t: f"{t[0]} ft {t[1]} in"),
)
TIMES = st.tuples(st.integers(0, 23), st.integers(0, 59)).map(lambda t: f"{t[0]:02}:{t[1]:02}")


@st.composite
def answer_sets(draw: st.DrawFn) -> dict[str, str]:
    drive = draw(st.sampled_from(list(BY_KEY["fan_drive"].choices)))
    fan_pins = pwm_pins.ANY_PI + pwm_pins.ONLY_PI_5 if drive == "hardware_pwm" else range(4, 28)
    fan_pin = None if drive == "dac" else draw(st.sampled_from(list(fan_pins)))
    sensor = draw(st.sampled_from(list(BY_KEY["sensor"].choices)))
    answers = {
        "name": draw(
            st.sampled_from(["tent", "Row 3: front # left", 'the "small" one', "no", "7"])
        ),
        "units": draw(st.sampled_from(["si", "us"])),
        "timezone": draw(st.sampled_from(["Europe/Rome", "America/New_York", "UTC", "Asia/Tokyo"])),
        "size": " x ".join(draw(st.tuples(SIDES, SIDES, SIDES))),
        "lamp_power": draw(st.sampled_from(["0 W", "35 W", "1.2 kW"])),
        "lights_on": draw(TIMES),
        "lights_off": draw(TIMES),
        "fan_drive": drive,
        **({} if fan_pin is None else {"fan_pin": str(fan_pin)}),
        "fan_flow": draw(st.sampled_from([UNKNOWN, "95 m³/h", "110 cfm", "30 l/s"])),
        "sensor": sensor,
        "crop": draw(st.sampled_from(list(BY_KEY["crop"].choices))),
        "plants": str(draw(st.integers(0, 200))),
        "stage": draw(st.sampled_from(list(BY_KEY["stage"].choices))),
    }
    if sensor.startswith("dht"):
        pins = range(4, 10) if sensor == "dht22_kernel" else range(4, 28)
        answers["sensor_pin"] = str(draw(st.sampled_from([p for p in pins if p != fan_pin])))
    return answers


@given(answer_sets())
@examples(8)
def test_any_fitting_answers_make_a_config_that_says_what_was_answered(
    answers: dict[str, str],
) -> None:
    kept = check_given(answers, NO_DEFAULTS)
    new = build(complete(kept, NO_DEFAULTS))
    built = settings_from_text(new.text).settings
    assert built.tent.name == answers["name"]
    assert built.fan.pin == (int(answers["fan_pin"]) if "fan_pin" in answers else None)
    assert built.place.timezone == answers["timezone"]
    assert f"{built.lamp.photoperiod.lights_on:%H:%M}" == answers["lights_on"]
    assert f"{built.lamp.photoperiod.lights_off:%H:%M}" == answers["lights_off"]
    assert (built.fan.free_flow_m3_s is None) == (answers["fan_flow"] == UNKNOWN)
    assert built.fan.active_low == (answers["fan_drive"] == "hardware_pwm")
    if answers["fan_drive"] == "relay":
        assert built.fan.contact == "normally_closed"


@given(answer_sets())
@examples(5)
def test_the_bands_in_the_comment_are_those_in_force(answers: dict[str, str]) -> None:
    text = build(complete(check_given(answers, NO_DEFAULTS), NO_DEFAULTS)).text
    head, comment = text.split("#: targets:")
    taken = head + "targets:" + comment.replace("#: ", "")
    # Shown to a tenth of a degree.
    before, after = (settings_from_text(t).settings.targets for t in (text, taken))
    assert after.day.temperature_c == pytest.approx(before.day.temperature_c, abs=0.06)
    assert after.night.temperature_c == pytest.approx(before.night.temperature_c, abs=0.06)
    assert after.day.vpd_pa == pytest.approx(before.day.vpd_pa, abs=6.0)
    assert after.heat_warning_c == pytest.approx(before.heat_warning_c, abs=0.06)


@pytest.mark.parametrize(
    ("size", "metres"),
    [
        ("70x80x150 cm", (0.7, 0.8, 1.5)),
        ("70cmx80cmx150cm", (0.7, 0.8, 1.5)),
        ("2 ft 3 in × 0.8 m × 60 in", (0.6858, 0.8, 1.524)),
        ("34 in by 34 in by 70 in", (0.8636, 0.8636, 1.778)),
        ('34" * 34" * 5\' 10"', (0.8636, 0.8636, 1.778)),
    ],
)
def test_sizes_are_read_as_people_write_them(size: str, metres: tuple[float, ...]) -> None:
    kept = check_given({"name": "tent", "size": size}, NO_DEFAULTS)
    tent = build(complete(kept, NO_DEFAULTS)).loaded.settings.tent
    assert (tent.width_m, tent.depth_m, tent.height_m) == pytest.approx(metres)


@pytest.mark.parametrize(
    ("key", "text", "says"),
    [
        ("size", "70 × 70", "not a size of three sides"),
        ("size", "70 × 70 × 150", "no unit"),
        ("size", "34 × 34 × 5 ft 10 in", "no unit"),
        ("size", "5 cm × 70 cm × 150 cm", "too low"),
        ("lamp_power", "80", "80 has no unit; expected a power: write 80 W"),
        ("lamp_power", "80 °C", "is not a power"),
        ("lights_on", "six", "not a clock time"),
        ("lights_off", "25:00", "no clock time"),
        ("timezone", "Europe/Rom", "Europe/Rome, perhaps"),
        ("fan_drive", "dimmer", "one of relay, pwm, hardware_pwm, dac"),
        ("fan_pin", "40", "no GPIO 40"),
        ("fan_pin", "2", "I2C"),
        ("fan_flow", "a lot", "is not an air flow"),
        ("plants", "some", "expected"),
        ("crop", "oak", "one of pepper"),
        ("crop", "", "one of pepper"),
    ],
)
def test_a_bad_answer_is_refused_in_the_configs_own_words(key: str, text: str, says: str) -> None:
    with pytest.raises(RefusedError) as refused:
        accept(BY_KEY[key], text, {"name": "tent"}, NO_DEFAULTS)
    assert says in str(refused.value)
    assert "line" not in str(refused.value)


@pytest.mark.parametrize(
    ("given_answers", "says"),
    [
        ({"fan_drive": "hardware_pwm", "fan_pin": "17"}, "--fan-pin: GPIO 17 has no hardware PWM"),
        ({"fan_pin": "4", "sensor": "dht22", "sensor_pin": "4"}, "--sensor-pin: GPIO 4 is taken"),
        ({"sensor": "dht22_kernel", "sensor_pin": "17"}, "--sensor-pin: the kernel names"),
        ({"sensor_pin": "17"}, "--sensor-pin: a sht4x is on the I2C bus"),
        ({"fan_drive": "dac", "fan_pin": "17"}, "--fan-pin: a fan on a converter has no pin"),
        ({"name": "x" * 61}, "--name: "),
    ],
)
def test_flags_that_do_not_go_together_are_refused_by_name(
    given_answers: dict[str, str], says: str
) -> None:
    with pytest.raises(UserError) as refused:
        check_given({"name": "tent", **given_answers}, NO_DEFAULTS)
    assert refused.value.message.startswith(says)
    assert refused.value.status == 2


def test_a_default_gives_way_to_a_pin_that_was_given() -> None:
    kept = check_given({"name": "t", "sensor": "dht22", "sensor_pin": "17"}, NO_DEFAULTS)
    assert complete(kept, NO_DEFAULTS)["fan_pin"] != "17"


@pytest.mark.parametrize("lights_off", ["05:59", "05:50", "05:30", "05:31", "06:00"])
def test_a_very_long_photoperiod_leaves_shorter_margins(lights_off: str) -> None:
    answers = complete({"name": "t", "lights_off": lights_off}, NO_DEFAULTS)
    plan = build(answers).loaded.settings.schedule
    assert plan.pre_run_s == plan.run_on_s <= 900.0


def test_a_bad_answer_is_explained_and_asked_again() -> None:
    typed = iter(["imperial", "us", "Europe/Rome", "3 ft", "3 ft x 3 ft x 5 ft", *[""] * 20])
    shown: list[str] = []
    prompts: list[str] = []

    def ask_line(prompt: str) -> str:
        prompts.append(prompt)
        return next(typed)

    answers = ask({"name": "tent"}, {"units": "si"}, ask_line, shown.append)
    assert answers["units"] == "us"
    assert answers["size"] == "3 ft × 3 ft × 5 ft"
    assert prompts[:2] == ["[si] ", "[si] "]
    text = "\n".join(shown)
    assert "'imperial' is none of the answers" in text
    assert "'3 ft' is not a size of three sides" in text
    assert max(map(len, text.splitlines())) < 80
    build(answers)


def test_what_was_given_is_not_asked() -> None:
    given_answers = check_given({"name": "t", "sensor": "dht22", "crop": "basil"}, NO_DEFAULTS)
    prompts: list[str] = []

    def ask_line(prompt: str) -> str:
        prompts.append(prompt)
        return ""

    answers = ask(given_answers, NO_DEFAULTS, ask_line, lambda _: None)
    assert (answers["sensor"], answers["crop"]) == ("dht22", "basil")
    assert len(prompts) == len(QUESTIONS) - 2


def test_every_question_has_a_default_and_a_reason_of_one_sentence() -> None:
    answers = complete({"name": "t", "sensor": "dht22"}, NO_DEFAULTS)
    assert set(answers) == {"name", *BY_KEY}
    for question in QUESTIONS:
        assert question.default(answers)
        why = question.why(answers)
        assert why.endswith(".") and ". " not in why
