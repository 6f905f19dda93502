"""A DHT22 or DHT11 down to the pulses on its wire, read by the real adafruit_dht decoder."""

from simulators.wire.decoder import Line, PulseIn, WireTime, fake_blinka, load_decoder
from simulators.wire.driver import WireDriver
from simulators.wire.frames import encode_frame, train

__all__ = [
    "Line",
    "PulseIn",
    "WireDriver",
    "WireTime",
    "encode_frame",
    "fake_blinka",
    "load_decoder",
    "train",
]
