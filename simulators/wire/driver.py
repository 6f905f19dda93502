"""A driver that sends the simulated air down a simulated wire into the real decoder."""

from __future__ import annotations

from collections.abc import Callable

from controller.sensors.dht_reader import DhtReader
from controller.sensors.driver import Measurement
from simulators.sensor_error import SensorErrorModel
from simulators.wire import frames
from simulators.wire.decoder import Line, WireTime, load_decoder

# The decoder takes a time of 0 for "never measured", and simulated clocks may start there.
_ORIGIN_S = 1.0

# How a lost measurement gets lost, in turn. The last is decoded without an error, as 0.0 °C and
# 0.0 %: plausibility has to catch it.
_DAMAGES: tuple[Callable[[bytes], tuple[int, ...]], ...] = (
    lambda frame: (),
    lambda frame: frames.train(frames.with_bad_checksum(frame)),
    lambda frame: frames.cut_short(frames.train(frame)),
    lambda frame: frames.without_first_edge(frames.train(frame)),
)


class WireDriver:
    """Reads a simulated DHT22 or DHT11 through adafruit_dht.

    Parameters
    ----------
    kind : {"dht22", "dht11"}
        Which sensor.
    model : SensorErrorModel
        Its errors; a measurement that the model loses is damaged on the wire.
    air : callable
        Gives the true temperature [°C] and relative humidity [%] now.
    now_s : callable
        Gives the simulated time [s].
    """

    __slots__ = (
        "_air",
        "_frame",
        "_kind",
        "_line",
        "_lost",
        "_model",
        "_now_s",
        "_reader",
        "_time",
    )

    def __init__(
        self,
        kind: frames.Kind,
        model: SensorErrorModel,
        air: Callable[[], tuple[float, float]],
        now_s: Callable[[], float],
    ) -> None:
        self._kind: frames.Kind = kind
        self._model = model
        self._air = air
        self._now_s = now_s
        self._time = WireTime(now_s() + _ORIGIN_S)
        self._line = Line(kind)
        decoder = load_decoder(self._time)
        device = (decoder.DHT22 if kind == "dht22" else decoder.DHT11)(self._line)
        self._reader = DhtReader(device, self._time.monotonic, self._time.sleep)
        self._frame = frames.encode_frame(20.0, 50.0, kind)  # to damage, before the first
        self._lost = 0

    def read(self) -> Measurement:
        """Measure once; see `controller.sensors.driver.Driver.read`."""
        now_s = self._now_s()
        time = self._time
        if now_s + _ORIGIN_S > time.now_s:
            time.now_s = now_s + _ORIGIN_S
        temperature_c, humidity_pct = self._air()
        seen = self._model.observe(now_s, temperature_c, humidity_pct)
        if seen is not None and seen.humidity_pct is not None:
            self._frame = frames.encode_frame(seen.temperature_c, seen.humidity_pct, self._kind)
            self._line.next_answer = frames.train(self._frame)
        else:
            self._line.next_answer = _DAMAGES[self._lost % len(_DAMAGES)](self._frame)
            self._lost += 1
        return self._reader.read()

    def close(self) -> None:
        """Nothing to let go of."""
