"""Recordings that are killed: run as a program, it records in processes of its own, one for each line it reads.

Each line names a folder; the number of the process is the answer. How many samples it has heard, it writes into
the file beside the folder, in shared memory, where it stays when the process is gone.
"""

from __future__ import annotations

import mmap
import os
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import Recorder

RATE_HZ = 16_000
BLOCK = 1_600


def known(start: int, count: int) -> NDArray[np.int16]:
    """Samples of which each says where it stands (modulo 32,749, a prime)."""
    return (np.arange(start, start + count) % 32_749).astype(np.int16)


class Server:
    """This file run as a program: its imports are done once for all the processes that it forks."""

    def __enter__(self) -> Server:
        self._process = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )
        self._child = 0
        return self

    def record(self, folder: Path) -> None:
        """Start a process that records into a folder, and wait until it has heard something."""
        heard_file(folder).write_bytes(bytes(8))
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{folder}\n")
        self._child = int(self._process.stdout.readline())
        while not heard(folder):
            time.sleep(0.001)

    def kill(self) -> None:
        """Kill the process that records."""
        if self._child:
            os.kill(self._child, signal.SIGKILL)
            self._child = 0

    def __exit__(self, *_: object) -> None:
        self.kill()
        self._process.communicate()


def heard_file(folder: Path) -> Path:
    return folder.with_suffix(".heard")


def heard(folder: Path) -> int:
    """How many samples the process had heard so far, written or not."""
    return int(struct.unpack("<q", heard_file(folder).read_bytes())[0])


def record(folder: Path) -> None:
    """Record without end, far faster than real time."""
    with heard_file(folder).open("r+b") as opened, mmap.mmap(opened.fileno(), 8) as shared:
        recorder = Recorder(folder, rate_hz=RATE_HZ, source="numbers")
        position = 0
        while True:
            shared[:] = struct.pack("<q", position + BLOCK)
            recorder.write(known(position, BLOCK))
            position += BLOCK


def serve() -> None:
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            record(Path(line.strip()))
        sys.stdout.write(f"{child}\n")
        sys.stdout.flush()
        os.waitpid(child, 0)


if __name__ == "__main__":
    serve()
