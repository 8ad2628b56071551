"""Runs from a scale under the spout, on a serial line: finds them, spools them, sends them.

    BURRLINE_URL=http://127.0.0.1:8460 BURRLINE_KEY=... python scale_serial.py bar-1 /dev/ttyUSB0

The scale sends its weight five to twenty times a second, a line each: grams with a decimal point,
``18.24``, perhaps with ``g`` behind it, ended by a line feed. For a scale that talks otherwise
change ``grams_in``, and nothing else. 9600 baud, 8 data bits, no parity, 1 stop bit; --baud
sets another speed.

It only listens: it switches nothing. Keep hands, cups and cables away from burrs and spout; a motor
may start at any time, whatever this program says.
"""

import argparse
import os
import select
import signal
import sys
import termios
import time
import tty
from collections.abc import Callable

from burrline import Client
from burrline.scale import DetectedRun, RunDetector
from burrline.spool import Spool, SpoolError

SILENT_SECONDS = 5.0  # the line is opened again after so long without a word
PAUSE_SECONDS = 1.0  # between two tries to open it
LONGEST_LINE_BYTES = 64


def grams_in(line: bytes) -> float | None:
    """The weight that a line tells; None where it tells none.

    >>> grams_in(b" 18.24 g\\r"), grams_in(b"-0.05"), grams_in(b"ERR")
    (18.24, -0.05, None)
    """
    text = line.strip().removesuffix(b"g").strip()
    try:
        grams = float(text)
    except ValueError:
        return None
    return grams if abs(grams) < 10_000 else None  # no nan, no inf, nothing a scale can carry


def open_line(path: str, baud: int) -> int:
    """The serial line, raw: no echo, no line editing, never waiting for a modem."""
    file = os.open(path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    tty.setraw(file)
    modes = termios.tcgetattr(file)
    modes[4] = modes[5] = getattr(termios, f"B{baud}")
    modes[2] |= termios.CLOCAL | termios.CREAD
    termios.tcsetattr(file, termios.TCSANOW, modes)
    return file


class Listener:
    """Reads the line and puts runs into the spool, until told to stop."""

    def __init__(
        self,
        grinder_id: str,
        path: str,
        baud: int,
        spool: Spool,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.grinder_id, self.path, self.baud, self.spool = grinder_id, path, baud, spool
        self.detector, self.clock, self.is_stopping = RunDetector(), clock, False
        self.run_count = self.unreadable_count = 0

    def run(self) -> None:
        while not self.is_stopping:
            try:
                file = open_line(self.path, self.baud)
            except (OSError, termios.error) as error:
                tell(f"{self.path}: {error}; trying again")
                time.sleep(PAUSE_SECONDS)
                continue
            try:
                self.listen(file)
            except OSError as error:
                tell(f"{self.path}: {error}; opening it again")
                time.sleep(PAUSE_SECONDS)
            finally:
                os.close(file)
        self.put(self.detector.finish())

    def listen(self, file: int) -> None:
        rest, heard_at = b"", self.clock()
        while not self.is_stopping and self.clock() - heard_at < SILENT_SECONDS:
            ready, _, _ = select.select([file], [], [], 0.5)
            if not ready:
                continue
            piece = os.read(file, 4096)
            if not piece:
                raise OSError("the line is closed")
            *lines, rest = (rest + piece).split(b"\n")
            rest = rest[-LONGEST_LINE_BYTES:]
            for line in lines:
                grams = grams_in(line)
                if grams is None:
                    self.unreadable_count += 1
                else:
                    self.put(self.detector.push(self.clock(), grams))
            heard_at = self.clock()

    def put(self, found: list[DetectedRun]) -> None:
        for one in found:
            run = {
                "grinder_id": self.grinder_id,
                "age_seconds": round(max(0.0, self.clock() - one.started), 3),
                "seconds": round(one.seconds, 2),
                "grams": round(one.grams, 2),
                "grams_basis": "weighed_out",
                "source": "scale",
            }
            try:
                self.spool.put(run)
            except SpoolError as error:
                tell(f"NOT TAKEN: {one.grams:.2f} g: {error}")
            else:
                self.run_count += 1
                tell(f"{one.grams:.2f} g in {one.seconds:.1f} s")


def tell(line: str) -> None:
    sys.stderr.write(line + "\n")


def main() -> int:
    parser = argparse.ArgumentParser(description="Runs from a scale on a serial line.")
    parser.add_argument("grinder_id", metavar="GRINDER")
    parser.add_argument("path", metavar="DEVICE")
    parser.add_argument("--baud", type=int, default=9600)
    parser.add_argument("--spool", default="scale.spool", help="default %(default)s")
    options = parser.parse_args()
    with Client() as client, Spool(options.spool, client) as spool:
        listener = Listener(options.grinder_id, options.path, options.baud, spool)

        def stop(*_: object) -> None:
            listener.is_stopping = True

        signal.signal(signal.SIGTERM, stop)
        signal.signal(signal.SIGINT, stop)
        listener.run()
    tell(f"{listener.run_count} runs, {listener.unreadable_count} lines that told no weight")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
