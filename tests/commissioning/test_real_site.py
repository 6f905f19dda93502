"""Opening the real rig for commissioning: on gpiozero's own mock pins, nothing spins."""

import gpiozero
import pytest

from controller.commissioning.sites import RealSite
from controller.config import settings_from_text

CONFIG = """\
tent: {name: Bench, width: 1 m, depth: 1 m, height: 1 m}
place: {timezone: Europe/Rome}
lamp: {power: 100 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 12, contact: CONTACT}
sensors: [{name: tent, role: tent, driver: hwmon, device: none_such}]
"""


@pytest.fixture
def mock_pins(monkeypatch, tmp_path):
    """This machine's pins are mock ones, and gpiozero forgets them afterwards."""
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "mock")
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    monkeypatch.setenv("LG_WD", str(tmp_path))
    before = gpiozero.Device.pin_factory
    gpiozero.Device.pin_factory = None
    yield lambda: gpiozero.Device.pin_factory
    if gpiozero.Device.pin_factory is not None:
        gpiozero.Device.pin_factory.close()
    gpiozero.Device.pin_factory = before


@pytest.mark.parametrize(
    # A relay on the normally closed contact must be energised to keep the fan at rest.
    ("contact", "at_rest"),
    [("normally_open", False), ("normally_closed", True)],
)
def test_the_fan_rests_from_the_first_instant(mock_pins, contact, at_rest):
    settings = settings_from_text(CONFIG.replace("CONTACT", contact)).settings
    edges = RealSite().open_edges(settings)
    pin = mock_pins().pin(12)
    try:
        assert pin.function == "output"
        # gpiozero's mock starts every pin low, as an input; from then on it only ever rested.
        assert {state for _, state in pin.states[1:]} <= {at_rest}
        assert pin.state is at_rest
        edges.fan.apply(1.0)
        assert pin.state is not at_rest
        edges.fan.apply(0.0)
        assert pin.state is at_rest
    finally:
        edges.close()
    # Left as after a stop of the daemon: a lamp with a timer of its own goes on heating.
    assert pin.states[-1].state is not at_rest


def test_pins_are_claimed_as_the_daemon_claims_them(mock_pins, tmp_path):
    from controller.errors import UserError
    from controller.locks import claim_pins

    text = (
        CONFIG.replace("CONTACT", "normally_open") + f'record: {{path: "{tmp_path}/r.sqlite3"}}\n'
    )
    settings = settings_from_text(text).settings
    with claim_pins(tmp_path, "gpio", [12]), pytest.raises(UserError) as caught:
        RealSite().claim(settings)
    assert caught.value.status == 4
    with RealSite().claim(settings):
        pass
