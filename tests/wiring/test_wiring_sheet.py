"""The wiring sheet says all that a config's wires need, once, and with its cautions."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from controller import pwm_pins
from controller.__main__ import main
from controller.config import Settings, load_settings, settings_from_text
from controller.outputs.failures import fan_failures
from controller.wiring.drawing import drawing
from controller.wiring.header import BY_GPIO
from controller.wiring.page import page
from controller.wiring.sheet import Part, Sheet, wiring_sheet
from controller.wiring.text import as_text

CONFIG = Path(__file__).parents[2] / "config"
BASE = """\
tent: {width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
"""


def settings_of(
    fan: str = "{drive: relay, pin: 17}",
    lamp: str = "switched_by: own_timer",
    sensors: str = "- {name: canopy, role: tent, driver: hwmon, device: sht4x}",
) -> Settings:
    lamp = f"lamp: {{photoperiod: {{on: 06:00, off: 22:00}}, power: 150 W, {lamp}}}\n"
    return settings_from_text(f"{BASE}{lamp}fan: {fan}\nsensors:\n  {sensors}\n").settings


def sheet_of(**sections: str) -> Sheet:
    return wiring_sheet(settings_of(**sections))


def part(sheet: Sheet, key: str) -> Part:
    (found,) = (part for part in sheet.parts if part.key == key)
    return found


def goes_to(found: Part) -> dict[str, int]:
    return {wire.short: wire.pin.number for wire in found.wires}


@st.composite
def rigs(draw: st.DrawFn) -> tuple[Settings, set[int]]:
    """A config with pins of every kind, and the GPIOs it uses."""
    free = list(range(4, 28))

    def take(allowed: Any = None) -> int:
        choice = draw(st.sampled_from([p for p in free if allowed is None or p in allowed]))
        free.remove(choice)
        return int(choice)

    drive = draw(st.sampled_from(["relay", "pwm", "hardware_pwm"]))
    used = [take(pwm_pins.ANY_PI if drive == "hardware_pwm" else None)]
    low = draw(st.sampled_from(["true", "false"]))
    contact = draw(st.sampled_from(["normally_open", "normally_closed"]))
    fan = f"drive: {drive}, pin: {used[0]}, active_low: {low}"
    fan += f", contact: {contact}" if drive == "relay" else ""
    if draw(st.booleans()):
        used.append(take())
        fan += f", tachometer: {{pin: {used[-1]}}}"
    lamp = f"switched_by: {draw(st.sampled_from(['own_timer', 'relay', 'photocell']))}"
    if "own" not in lamp:
        used.append(take())
        lamp += f", pin: {used[-1]}, active_low: {draw(st.sampled_from(['true', 'false']))}"
    sensors = []
    for index in range(draw(st.integers(1, 5))):
        name, kind = f"s{index}", draw(st.sampled_from(["dht22", "kernel_dht", "i2c"]))
        if kind == "dht22":
            used.append(take())
            address = f"driver: dht22, pin: {used[-1]}"
        elif kind == "kernel_dht" and any(p < 10 for p in free):
            used.append(take(range(10)))
            address = f"driver: iio, device: dht11@{used[-1]}"
        else:
            address = f"driver: hwmon, device: 1-004{index}"
        sensors.append(f"- {{name: {name}, role: tent, {address}}}")
    config = settings_of(f"{{{fan}}}", lamp, "\n  ".join(sensors))
    on_bus = any((sensor.device or "").startswith("1-") for sensor in config.sensors)
    return config, set(used) | ({2, 3} if on_bus else set())


@given(rigs())
@examples(25)
def test_each_pin_of_the_config_is_on_the_sheet_exactly_once(
    rig: tuple[Settings, set[int]],
) -> None:
    config, used = rig
    sheet = wiring_sheet(config)
    gpios = [wire.pin.gpio for _, wire in sheet.wires if wire.pin.gpio is not None]
    assert sorted(gpios) == sorted(used)
    assert all(BY_GPIO[gpio].gpio == gpio for gpio in gpios)
    text = as_text(sheet)
    rows = re.findall(r"^ *(\d+)  GPIO (\d+)\b", text, re.MULTILINE)
    assert sorted((int(n), int(g)) for n, g in rows) == sorted(
        (BY_GPIO[gpio].number, gpio) for gpio in used
    )
    assert sheet.clashes == ()


@given(rigs(), st.integers(30, 130))
@examples(16)
def test_no_line_is_wider_than_the_terminal(rig: tuple[Settings, set[int]], width: int) -> None:
    for line in as_text(wiring_sheet(rig[0]), width).splitlines():
        is_one_word = " " not in line.strip()  # a line for config.txt is not to be broken
        assert len(line) <= min(79, width) or is_one_word or line.strip().startswith("dt")


@given(rigs())
@examples(16)
def test_no_two_wires_of_the_drawing_lie_on_each_other(rig: tuple[Settings, set[int]]) -> None:
    picture = drawing(wiring_sheet(rig[0]))
    path = re.compile(
        r'class="wire \w+" d="M([\d.]+) ([\d.]+)(?:L[\d.]+ ([\d.]+))?H([\d.]+)V([\d.]+)'
    )
    found = [tuple(float(v or m[2]) for v in m.groups()) for m in path.finditer(picture)]
    assert len(found) == sum(len(p.wires) for p in wiring_sheet(rig[0]).parts)
    for index, (x, pin_y, out, lane, end) in enumerate(found):
        for other_x, other_pin_y, other_out, other_lane, other_end in found[index + 1 :]:
            if (x, pin_y) == (other_x, other_pin_y):
                continue  # of one pin: joined
            assert out != other_out
            assert end != other_end
            assert end != other_out and out != other_end
            if lane == other_lane:
                low, high = sorted((out, end))
                other_low, other_high = sorted((other_out, other_end))
                assert high < other_low or other_high < low


class Checked(HTMLParser):
    """Follows the open elements and keeps what asks for something."""

    VOID = frozenset({"meta", "br", "rect", "circle", "path"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.asks: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self.VOID:
            self.open.append(tag)
        self.asks += [f"{tag} {name}" for name, _ in attrs if name in ("src", "href", "xlink:href")]
        if tag in ("script", "link", "img", "iframe"):
            self.asks.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@given(rigs())
@examples(8)
def test_the_page_is_whole_and_asks_for_nothing(rig: tuple[Settings, set[int]]) -> None:
    html = page(wiring_sheet(rig[0]))
    checked = Checked()
    checked.feed(html)
    checked.close()
    assert checked.open == []
    assert checked.asks == []
    assert not re.search(r"https?:|url\(|@import", html)
    for gpio in rig[1]:
        assert f"GPIO\u00a0{gpio}" in checked.text or f"GPIO {gpio}" in checked.text


def test_a_name_cannot_break_the_page() -> None:
    text = f"{BASE}lamp: {{photoperiod: {{on: 06:00, off: 22:00}}}}\nfan: {{pin: 17}}\n".replace(
        "tent: {", 'tent: {name: "<b>&</b>", '
    )
    text += "sensors:\n  - {name: a, role: tent, driver: hwmon, device: sht4x}\n"
    html = page(wiring_sheet(settings_from_text(text).settings))
    assert "<b>&</b>" not in html and "&lt;b&gt;&amp;&lt;/b&gt;" in html


def test_a_four_wire_fan_hangs_on_its_transistor_and_pwm_hardware() -> None:
    fan = part(sheet_of(fan="{drive: hardware_pwm, pin: 18, active_low: true}"), "fan")
    # GPIO 18 is header pin 12, and 14 is the ground beside it (gpiozero, see test_header).
    assert goes_to(fan) == {"gate, 1 kΩ": 12, "source": 14}
    assert fan.overlays == ("dtoverlay=pwm,pin=18,func=2",)
    assert fan.circuit[0].startswith("GPIO 18 ─[1 kΩ]")
    assert "10 kΩ from the gate to ground" in fan.pull
    assert any("Never tie the PWM wire to a GPIO" in text for text in fan.cautions)
    assert any("30 V" in text for text in fan.buy)


def test_a_bare_four_wire_fan_is_warned_of() -> None:
    fan = part(sheet_of(fan="{drive: hardware_pwm, pin: 19}"), "fan")
    assert any("Put a transistor in between" in text for text in fan.cautions)


@pytest.mark.parametrize(("contact", "word"), [("normally_closed", "NC"), ("normally_open", "NO")])
def test_a_relay_says_its_contact(contact: str, word: str) -> None:
    fan = part(sheet_of(fan=f"{{drive: relay, pin: 17, contact: {contact}, power: 22 W}}"), "fan")
    assert f"COM and {word}," in fan.contact
    assert goes_to(fan) == {"IN": 11, "VCC": 4, "GND": 9}
    # 22 W over 230 V and 120 V.
    assert any("0.10 A at 230 V or 0.18 A at 120 V" in text for text in fan.buy)


@pytest.mark.parametrize(
    ("pin", "active_low", "needed", "where"),
    # GPIO 0 to 8 are pulled up until set up, 9 to 27 down (data sheet "BCM2835 ARM Peripherals",
    # table 6-31, from memory).
    [
        (17, False, False, "to ground"),
        (17, True, True, "to 3.3 V"),
        (5, False, True, "to ground"),
        (5, True, False, "to 3.3 V"),
    ],
)
def test_the_resistor_is_needed_where_the_pis_own_pull_drives_the_relay(
    pin: int, active_low: bool, needed: bool, where: str
) -> None:
    low = str(active_low).lower()
    sheet = sheet_of(
        fan=f"{{drive: relay, pin: {pin}, active_low: {low}}}",
        lamp=f"switched_by: relay, pin: {27 if pin == 17 else 6}, active_low: {low}",
    )
    for key in ("fan", "lamp"):
        found = part(sheet, key)
        assert ("is needed" in found.pull) is needed
        assert where in found.pull
        starting = next(state for state in found.states if state.name == "until the first tick")
        assert (starting.does == "not known") is needed


@pytest.mark.parametrize("name", ["chillies", "basil"])
def test_the_fans_failures_are_those_that_check_tells(name: str) -> None:
    config = load_settings(CONFIG / f"{name}.yaml").settings
    fan = part(wiring_sheet(config), "fan")
    assert [(state.name, state.why) for state in fan.states] == [
        (row.name, row.why) for row in fan_failures(config)
    ]


def test_a_lamp_on_a_relay_is_dark_with_a_dead_pi_and_has_its_cautions() -> None:
    lamp = part(sheet_of(lamp="switched_by: relay, pin: 23"), "lamp")
    assert "COM and NO" in lamp.contact
    assert {state.does for state in lamp.states} == {"lamp dark"}
    said = " ".join(lamp.cautions)
    for word in (
        "licensed electrician",
        "local codes",
        "smoke alarm",
        "drip loop",
        "made for 3.3 V",
    ):
        assert word in said
    # 150 W over 230 V and 120 V.
    assert any("0.65 A at 230 V or 1.2 A at 120 V" in text for text in lamp.buy)


def test_a_relay_has_the_cautions_of_what_it_fails_by() -> None:
    """A welded contact, and a solid-state relay in its place; an AC motor's capacitor."""
    lamp = "{power: 100 W, photoperiod: {on: '06:00', off: '22:00'}, switched_by: relay, pin: 23}"
    text = f"""\
tent: {{name: t, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: Europe/Rome}}
lamp: {lamp}
fan: {{drive: relay, pin: 17}}
sensors: [{{name: a, role: tent, driver: dht22, pin: 4}}]
"""
    fan, lamp_part = wiring_sheet(settings_from_text(text).settings).parts[:2]
    for part in (fan, lamp_part):
        assert any("solid-state relay" in caution for caution in part.cautions)
    assert any("capacitor" in caution for caution in fan.cautions)
    assert any("weld shut" in caution for caution in lamp_part.cautions)
    assert any("thermostat of its own" in thing for thing in lamp_part.buy)


def test_a_lamp_on_its_own_timer_has_no_wire_but_its_cautions() -> None:
    lamp = part(sheet_of(), "lamp")
    assert lamp.wires == ()
    assert "06:00 to 22:00" in lamp.supply
    assert any("licensed electrician" in text for text in lamp.cautions)


def test_inputs_are_for_3_3_v_only() -> None:
    sheet = sheet_of(
        fan="{drive: relay, pin: 17, tachometer: {pin: 24}}",
        lamp="switched_by: photocell, pin: 25",
        sensors="- {name: canopy, role: tent, driver: dht22, pin: 4}",
    )
    for key in ("fan.tachometer", "lamp", "sensors.canopy"):
        assert any("3.3 V only" in text for text in part(sheet, key).cautions)
    assert goes_to(part(sheet, "sensors.canopy")).keys() == {"data", "3.3 V", "ground"}


def test_a_dht_read_by_the_kernel_gets_its_overlay() -> None:
    sheet = sheet_of(sensors="- {name: canopy, role: tent, driver: iio, device: dht11@4}")
    assert sheet.overlays == ("dtoverlay=dht11,gpiopin=4",)
    assert goes_to(part(sheet, "sensors.canopy"))["data"] == 7


@pytest.mark.parametrize("device", ["dht11@11", "dht11"])
def test_a_dht_whose_gpio_is_in_doubt_is_not_drawn(device: str) -> None:
    sheet = sheet_of(sensors=f"- {{name: canopy, role: tent, driver: iio, device: {device}}}")
    found = part(sheet, "sensors.canopy")
    assert found.wires == ()
    assert "beyond doubt" in found.notes[0]


def test_sensors_on_the_bus_share_its_two_wires() -> None:
    sheet = sheet_of(
        sensors="- {name: a, role: tent, driver: hwmon, device: sht4x}\n"
        "  - {name: b, role: intake, driver: hwmon, device: 1-0045}"
    )
    bus = part(sheet, "sensors.a, sensors.b")
    assert goes_to(bus) == {"SDA": 3, "SCL": 5, "3.3 V": 1, "ground": 6}
    assert sheet.overlays == (
        "dtparam=i2c_arm=on",
        "dtoverlay=i2c-sensor,sht4x",
        "dtoverlay=i2c-sensor,KIND,addr=0x45",
    )


def test_a_part_on_a_wire_of_the_bus_is_reported() -> None:
    sheet = sheet_of(fan="{drive: relay, pin: 2}")
    (clash,) = sheet.clashes
    assert "GPIO 2 is wanted by fan relay and canopy" in clash
    assert "can't share it" in as_text(sheet) and "can&#x27;t share it" in page(sheet)


def test_a_supply_pin_that_feeds_two_parts_is_reported() -> None:
    sensors = "\n  ".join(
        f"- {{name: s{pin}, role: tent, driver: dht22, pin: {pin}}}" for pin in (4, 5, 6)
    )
    (shared, *_) = sheet_of(sensors=sensors).shared
    assert "join their wires" in shared


def test_the_command_shows_and_writes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["wiring", str(CONFIG / "basil.yaml")]) == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) < 80
    for word in ("licensed electrician", "dtoverlay=i2c-sensor,sht4x", "COM and NC"):
        assert word in shown
    target = tmp_path / "wiring.html"
    assert main(["wiring", str(CONFIG / "basil.yaml"), "--html", str(target)]) == 0
    assert "<svg" in target.read_text(encoding="utf-8")


def test_a_wrong_config_is_reported_as_check_tells_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tent.yaml"
    path.write_text("tent: {}\n", encoding="utf-8")
    assert main(["wiring", str(path)]) == 2
    assert f"{path}:1:" in capsys.readouterr().err


def test_converter_of_a_fan_shares_the_bus_with_sensors_and_inverting_is_said() -> None:
    sheet = sheet_of(fan="{drive: dac, dac: {device: mcp4725, raw_off: 4095, raw_full: 0}}")
    fan = part(sheet, "fan")
    assert goes_to(fan) | {"VDD": 0, "GND": 0} == {"VDD": 0, "GND": 0, "SDA": 3, "SCL": 5}
    assert sheet.clashes == ()
    assert any(text.startswith("Pin 3 feeds fan converter and canopy") for text in sheet.shared)
    assert "0 V from the converter gives 10 V to the fan" in (fan.pull or "")
    assert any("licensed electrician" in caution for caution in fan.cautions)
    assert sheet.overlays[0] == "dtparam=i2c_arm=on"
    straight = sheet_of(fan="{drive: dac, dac: {device: mcp4725, raw_full: 4095}}")
    assert any("inverts" in note for note in part(straight, "fan").notes)


@pytest.mark.parametrize(("active_low", "other"), [("true", "ground"), ("false", "3.3 V")])
def test_current_switch_is_wired_by_its_isolated_contact_and_with_the_cautions_of_mains(
    active_low: str, other: str
) -> None:
    switch = f"current_switch: {{pin: 25, active_low: {active_low}}}"
    found = part(sheet_of(fan=f"{{drive: relay, pin: 17, {switch}}}"), "fan.current_switch")
    assert [wire.pin.signal for wire in found.wires] == ["GPIO 25", other]
    assert any("licensed electrician" in caution for caution in found.cautions)
    assert any("isolated contact" in caution for caution in found.cautions)
