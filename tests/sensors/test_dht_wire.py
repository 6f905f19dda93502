"""The real adafruit_dht decoder on the pulses that a DHT22 or DHT11 puts on its wire."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.control.plausibility import FRESH, SensorFault, judge
from controller.sensors.data_sheets import DHT11_ERRORS, DHT22, DHT22_ERRORS
from controller.sensors.dht_reader import SPACING_S, DhtReader
from controller.sensors.driver import ErrorKind, Measurement, SensorError
from simulators.sensor_error import PERFECT, SensorErrorModel
from simulators.wire import Line, WireDriver, WireTime, encode_frame, load_decoder, train
from simulators.wire.frames import cut_short, with_bad_checksum, without_first_edge

# Not in Debian, where the package does without; looked up, since importing it wants a Pi.
pytestmark = pytest.mark.skipif(
    find_spec("adafruit_dht") is None, reason="the DHT library is not here"
)

# Aosong, AM2302 product manual, worked example: 65.2 %RH, 35.1 °C.
WORKED_EXAMPLE = int("0000001010001100000000010101111111101110", 2).to_bytes(5, "big")
# The same manual's example of a temperature below zero: 1000 0000 0110 0101 is −10.1 °C; the
# humidity is the first example's, the checksum is arithmetic.
BELOW_ZERO = bytes((0x02, 0x8C, 0x80, 0x65, (0x02 + 0x8C + 0x80 + 0x65) & 0xFF))


class Bench:
    """A reader on a line whose next answer the test sets."""

    def __init__(self, kind: str = "dht22") -> None:
        self.time = WireTime()
        self.line = Line(kind)
        decoder = load_decoder(self.time)
        self.device = getattr(decoder, kind.upper())(self.line)
        self.reader = DhtReader(self.device, self.time.monotonic, self.time.sleep)

    def read(self, pulses: tuple[int, ...]) -> Measurement:
        self.line.next_answer = pulses
        return self.reader.read()


@pytest.mark.parametrize(
    ("frame", "temperature_c", "humidity_pct"),
    [(WORKED_EXAMPLE, 35.1, 65.2), (BELOW_ZERO, -10.1, 65.2)],
)
def test_frames_of_the_data_sheet_are_read_as_it_says(
    frame: bytes, temperature_c: float, humidity_pct: float
) -> None:
    assert Bench().read(train(frame))[:2] == (temperature_c, humidity_pct)
    assert encode_frame(temperature_c, humidity_pct) == frame


def test_a_dht11_frame_is_read_after_its_longer_start_signal() -> None:
    # Aosong, DHT11_ERRORS product manual, worked example: 0011 0101 0000 0000 0001 1000 0000 0100
    # 0101 0001 is 53 %RH and 24.4 °C (from memory).
    frame = int("0011010100000000000110000000010001010001", 2).to_bytes(5, "big")
    assert Bench("dht11").read(train(frame))[:2] == (24.4, 53.0)
    assert encode_frame(24.4, 53.0, "dht11") == frame


def test_a_dht11_sleeps_through_the_start_signal_of_a_dht22() -> None:
    bench = Bench("dht22")
    bench.device._pin = bench.device.pulse_in._line = Line("dht11")
    bench.device.pulse_in._line.next_answer = train(WORKED_EXAMPLE)
    with pytest.raises(SensorError) as caught:
        bench.reader.read()
    assert caught.value.kind is ErrorKind.NO_ANSWER


@pytest.mark.parametrize(
    ("pulses", "kind"),
    [
        ((), ErrorKind.NO_ANSWER),
        (cut_short(train(WORKED_EXAMPLE)), ErrorKind.GARBLED),
        (train(with_bad_checksum(WORKED_EXAMPLE)), ErrorKind.GARBLED),
        (train(bytes((0x03, 0xE9, 0x00, 0x64, 0x50))), ErrorKind.GARBLED),  # 100.1 %
    ],
    ids=["silence", "short train", "bad checksum", "above 100 %"],
)
def test_a_damaged_train_is_an_error(pulses: tuple[int, ...], kind: ErrorKind) -> None:
    with pytest.raises(SensorError) as caught:
        Bench().read(pulses)
    assert caught.value.kind is kind


@pytest.mark.parametrize(
    "pulses",
    [without_first_edge(train(WORKED_EXAMPLE)), train(bytes(5))],
    ids=["first edge lost", "all-zero frame"],
)
def test_what_the_decoder_lets_through_as_zeros_plausibility_refuses(
    pulses: tuple[int, ...],
) -> None:
    measurement = Bench().read(pulses)
    assert measurement[:2] == (0.0, 0.0)
    assert judge(DHT22, FRESH, 0.0, measurement) == (SensorFault.ABSURD, FRESH)


def test_a_temperature_no_decoder_minds_plausibility_refuses() -> None:
    measurement = Bench().read(train(encode_frame(3276.7, 50.0)))
    assert measurement.temperature_c == 3276.7
    assert judge(DHT22, FRESH, 0.0, measurement)[0] is SensorFault.ABSURD


def test_a_failed_read_is_never_followed_by_the_values_before_it() -> None:
    bench = Bench()
    assert bench.read(train(WORKED_EXAMPLE))[:2] == (35.1, 65.2)
    with pytest.raises(SensorError):
        bench.read(())
    # The library, asked at once, repeats what it last knew and says nothing.
    assert (bench.device.temperature, bench.device.humidity) == (35.1, 65.2)
    assert bench.read(train(encode_frame(20.0, 40.0)))[:2] == (20.0, 40.0)


def test_attempts_are_spaced_whether_they_succeed_or_fail() -> None:
    bench = Bench()
    starts: list[float] = []
    pulses = [train(WORKED_EXAMPLE), (), train(WORKED_EXAMPLE), train(with_bad_checksum(bytes(5)))]

    def answer() -> tuple[int, ...]:
        starts.append(bench.time.now_s)
        return pulses.pop(0)

    bench.device.pulse_in._line = Line("dht22", answer)
    for _ in range(4):
        try:
            bench.reader.read()
        except SensorError:
            continue
    assert [b - a for a, b in pairwise(starts)] == [SPACING_S] * 3


def test_two_values_out_of_two_attempts_are_thrown_away() -> None:
    bench = Bench()

    def slow_answer() -> tuple[int, ...]:
        bench.time.sleep(2.1)  # the process was not running for a while
        return train(WORKED_EXAMPLE)

    bench.device.pulse_in._line = Line("dht22", slow_answer)
    with pytest.raises(SensorError, match="too long"):
        bench.reader.read()


@pytest.mark.parametrize("error", [OverflowError("x"), IndexError("pop"), ValueError("queue")])
def test_any_error_of_the_library_is_a_sensor_error(error: Exception) -> None:
    bench = Bench()

    def broken() -> tuple[int, ...]:
        raise error

    bench.device.pulse_in._line = Line("dht22", broken)
    with pytest.raises(SensorError) as caught:
        bench.reader.read()
    assert caught.value.kind is ErrorKind.CRASHED


def test_a_fresh_object_that_knows_nothing_is_no_answer() -> None:
    bench = Bench()
    with pytest.raises(RuntimeError):
        bench.device.measure()
    # Within 2 s of that failure the library answers None, None.
    with pytest.raises(SensorError, match="no values"):
        bench.reader.read()


@given(st.integers(-400, 800), st.integers(1, 1000))
def test_every_dht22_value_survives_the_wire(tenths_c: int, tenths_pct: int) -> None:
    frame = encode_frame(tenths_c / 10, tenths_pct / 10)
    assert Bench().read(train(frame))[:2] == (tenths_c / 10, tenths_pct / 10)


@pytest.mark.parametrize(("temperature_c", "humidity_pct"), [(3276.8, 50), (20, -1), (20, 6554)])
def test_a_value_that_does_not_fit_the_frame_is_refused(
    temperature_c: float, humidity_pct: float
) -> None:
    with pytest.raises(ValueError, match="DHT22 frame cannot carry"):
        encode_frame(temperature_c, humidity_pct)


def test_the_simulated_sensor_reads_the_air_through_the_decoder() -> None:
    now_s = 0.0
    perfect = SensorErrorModel(PERFECT, 1)
    driver = WireDriver("dht22", perfect, lambda: (24.04, 55.06), lambda: now_s)
    for _ in range(3):
        now_s += 2.5
        assert driver.read()[:2] == (24.0, 55.1)


def test_the_simulated_sensor_loses_measurements_in_every_way() -> None:
    now_s = 0.0
    model = SensorErrorModel(DHT22_ERRORS, 3, lost=1.0)
    driver = WireDriver("dht22", model, lambda: (24.0, 55.0), lambda: now_s)
    heard: list[ErrorKind | Measurement] = []
    for _ in range(4):
        now_s += 2.5
        try:
            heard.append(driver.read())
        except SensorError as error:
            heard.append(error.kind)
    assert heard == [ErrorKind.NO_ANSWER, ErrorKind.GARBLED, ErrorKind.GARBLED, (0.0, 0.0, None)]


def test_a_simulated_dht11_answers_too() -> None:
    now_s = 0.0
    model = SensorErrorModel(DHT11_ERRORS, 3, bias_k=0.0, bias_pct=0.0, lost=0.0)
    driver = WireDriver("dht11", model, lambda: (24.0, 55.0), lambda: now_s)
    temperature_c, humidity_pct, _ = driver.read()
    assert temperature_c == pytest.approx(24.0, abs=2.0)
    assert humidity_pct == pytest.approx(55.0, abs=2.0)


def test_no_fake_stays_behind() -> None:
    Bench()
    assert "pulseio" not in sys.modules
    assert "adafruit_dht" not in sys.modules
