"""What a DHT22 or DHT11 sends: 40 bits, and the pulses they make on the wire.

Source: Aosong, AM2302 (DHT22) and DHT11 product manuals, sections on single-bus communication.
"""

from __future__ import annotations

import math
from typing import Literal

Kind = Literal["dht22", "dht11"]

# Pulse widths [µs].
RESPONSE_LOW_US = 80
RESPONSE_HIGH_US = 80
BIT_LOW_US = 50
ZERO_HIGH_US = 26
ONE_HIGH_US = 70
# The listener keeps so many pulses, the last ones: 40 bits of a low and a high, and the last low.
HEARD = 81


def encode_frame(temperature_c: float, humidity_pct: float, kind: Kind = "dht22") -> bytes:
    """Give the 40 bits that carry a measurement.

    Parameters
    ----------
    temperature_c : float
        Temperature [°C]; a DHT22 carries −3276.7 to 3276.7 in tenths, a DHT11 0 to 99.9.
    humidity_pct : float
        Relative humidity [%]; a DHT22 carries tenths, a DHT11 whole percents.
    kind : {"dht22", "dht11"}
        Which sensor.

    Returns
    -------
    bytes
        Five: humidity, temperature, and the low byte of the sum of the four.

    Raises
    ------
    ValueError
        When the frame has no room for a value.
    """
    if kind == "dht22":
        tenths_pct, tenths_c = _nearest(10.0 * humidity_pct), _nearest(10.0 * temperature_c)
        if not (0 <= tenths_pct <= 0xFFFF and abs(tenths_c) <= 0x7FFF):
            raise ValueError(f"a DHT22 frame cannot carry {temperature_c} °C and {humidity_pct} %")
        sign = 0x8000 if tenths_c < 0 else 0
        data = tenths_pct.to_bytes(2, "big") + (abs(tenths_c) | sign).to_bytes(2, "big")
    else:
        percent, tenths_c = _nearest(humidity_pct), _nearest(10.0 * temperature_c)
        if not (0 <= percent <= 255 and 0 <= tenths_c <= 999):
            raise ValueError(f"a DHT11 frame cannot carry {temperature_c} °C and {humidity_pct} %")
        data = bytes((percent, 0, tenths_c // 10, tenths_c % 10))
    return data + bytes((sum(data) & 0xFF,))


def _nearest(value: float) -> int:
    return math.floor(value + 0.5)


def _pulses(byte: int) -> tuple[int, ...]:
    pulses = []
    for bit in range(7, -1, -1):
        pulses += [BIT_LOW_US, ONE_HIGH_US if byte >> bit & 1 else ZERO_HIGH_US]
    return tuple(pulses)


_OF_BYTE = tuple(_pulses(byte) for byte in range(256))
_PREAMBLE = (RESPONSE_LOW_US, RESPONSE_HIGH_US)
_RELEASE = (BIT_LOW_US,)


def train(frame: bytes) -> tuple[int, ...]:
    """Give the pulses of a frame on the wire.

    Parameters
    ----------
    frame : bytes
        Five bytes.

    Returns
    -------
    tuple of int
        83 widths [µs], low and high in turn from the response's low to the last low.
    """
    a, b, c, d, e = frame
    table = _OF_BYTE
    return _PREAMBLE + table[a] + table[b] + table[c] + table[d] + table[e] + _RELEASE


def with_bad_checksum(frame: bytes) -> bytes:
    """Give the frame with one bit of its checksum flipped."""
    return frame[:4] + bytes((frame[4] ^ 0x01,))


def cut_short(pulses: tuple[int, ...]) -> tuple[int, ...]:
    """Give a train of which the listener missed the second half."""
    return pulses[: len(pulses) // 2]


def without_first_edge(pulses: tuple[int, ...]) -> tuple[int, ...]:
    """Give a train that the listener picked up one edge late: highs and lows swap places."""
    return pulses[-HEARD:][1:]
