"""What workers are given to do, in a module that they can load."""

import os
import signal
import time
from pathlib import Path

import numpy as np

PARTS = [np.random.SeedSequence([9, number]) for number in range(40)]


def drawn(seed):
    """Takes longer the earlier it is, so that the last are done first."""
    time.sleep(0.002 * (40 - seed.entropy[1]) / 40)
    return np.random.default_rng(seed).standard_normal(50)


def killed_once(folder: Path, number: int) -> int:
    """The worker that does number 5 is killed, the first time."""
    if number == 5:
        mark = folder / "killed"
        try:
            mark.touch(exist_ok=False)
        except FileExistsError:
            return number
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def killed_always(number: int) -> int:
    """Number 1 kills its worker every time, before number 0 is done, which does no harm."""
    if number == 0:
        time.sleep(1.0)
    if number == 1:
        time.sleep(0.2)
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def faulty(number: int) -> int:
    if number == 3:
        raise ValueError("part 3 is odd")
    if number == 30:
        raise ImportError("part 30 misses something")
    if number == 300:
        raise TimeoutError("part 300 took too long")
    return number
