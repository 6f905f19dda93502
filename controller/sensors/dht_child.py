"""Reads DHT22 and DHT11 through adafruit_dht, in a process of its own.

Blinka's pulse input installs its own SIGTERM handler, and its reads can block for ever when its
helper dies; here neither can harm the daemon. The parent (`controller.sensors.dht`) writes a line
such as "dht22 4" for each measurement and gets a line of JSON back; when the pipe closes, this
process ends.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from typing import Any, TextIO

from controller.sensors.dht_reader import Device, DhtReader
from controller.sensors.driver import ErrorKind, SensorError

_LIBRARIES = ("adafruit_dht", "board")
# What SIGTERM gets to do its work (Blinka removes a message queue) before the group is killed.
_GRACE_S = 1.0


def open_device(kind: str, pin: int) -> Device:
    """Open the sensor through Blinka.

    Parameters
    ----------
    kind : {"dht22", "dht11"}
        Which decoder.
    pin : int
        GPIO number.

    Returns
    -------
    Device
        The library's object.

    Raises
    ------
    SensorError
        When the libraries cannot be used here or the pin cannot be had.
    """
    try:
        adafruit_dht: Any
        board: Any
        adafruit_dht, board = map(importlib.import_module, _LIBRARIES)
    except Exception as error:  # Blinka passes on any error of its back ends
        raise SensorError(
            ErrorKind.UNSUPPORTED,
            f"the DHT library cannot be used here ({type(error).__name__}: {error}); "
            "on a Raspberry Pi install lungwort with its extra 'pi', or better, let the kernel "
            "read the sensor: dtoverlay=dht11,gpiopin="
            f"{pin} in /boot/firmware/config.txt and driver: iio, device: dht11",
        ) from error
    line = getattr(board, f"D{pin}", None)
    if line is None:
        raise SensorError(
            ErrorKind.UNSUPPORTED,
            f"the DHT library knows no GPIO {pin} on this machine; is it a Raspberry Pi?",
        )
    model = getattr(adafruit_dht, kind.upper())
    try:
        device: Device = model(line)
    except Exception:  # no pulse helper for this system: time the edges in Python, less reliably
        try:
            device = model(line, use_pulseio=False)
        except Exception as error:
            raise SensorError(
                ErrorKind.DENIED,
                f"GPIO {pin} cannot be had ({type(error).__name__}: {error}); "
                "is another program using it, and is this user in group gpio?",
            ) from error
    return device


def serve(
    requests: queue.Queue[str],
    replies: TextIO,
    monotonic_s: Callable[[], float],
    sleep: Callable[[float], None],
) -> None:
    """Answer each request with one measurement or its failure, for ever.

    Parameters
    ----------
    requests : queue.Queue
        Kind and GPIO of the sensor to be read, such as "dht22 4".
    replies : TextIO
        Takes a line of JSON for each.
    monotonic_s, sleep : callable
        The clock that the library goes by [s], and what lets seconds of it pass.
    """
    readers: dict[str, DhtReader] = {}
    _send(replies, {"ready": True})
    while True:
        request = requests.get()
        is_opened = request in readers
        try:
            if not is_opened:
                kind, pin = request.split()
                readers[request] = DhtReader(open_device(kind, int(pin)), monotonic_s, sleep)
                is_opened = True
            temperature_c, humidity_pct, _ = readers[request].read()
        except SensorError as error:
            _send(replies, {"error": error.kind, "message": error.message, "is_opened": is_opened})
        else:
            _send(replies, {"temperature_c": temperature_c, "humidity_pct": humidity_pct})


def _send(replies: TextIO, reply: dict[str, Any]) -> None:
    replies.write(json.dumps(reply) + "\n")
    replies.flush()


def _listen(requests: queue.Queue[str]) -> None:
    """Queue the parent's lines; end this process and its helpers once the parent is gone."""
    for line in sys.stdin:
        requests.put(line.strip())
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(_GRACE_S)  # the main thread may hang in a read that no handler interrupts
    if os.getpgrp() == os.getpid():
        os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(1)


def main(
    monotonic_s: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Read sensors on request until the pipe closes."""
    # Output of libraries must not mix with the replies.
    replies = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    requests: queue.Queue[str] = queue.Queue()
    threading.Thread(target=_listen, args=(requests,), daemon=True).start()
    # A Pi Zero needs many seconds for it; a first measurement has no time for that. Where it fails,
    # opening a sensor says why.
    with contextlib.suppress(Exception):
        for library in _LIBRARIES:
            importlib.import_module(library)
    serve(requests, replies, monotonic_s, sleep)


if __name__ == "__main__":
    main()
