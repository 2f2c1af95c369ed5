"""Become another command that ends with the process that started it: ``python tethered.py COMMAND ARGUMENT...``.

On Linux the kernel sends SIGTERM when the starter is gone, even when that one was killed; elsewhere nothing is tied.
Standard library only, so that it starts at once.
"""

import ctypes
import os
import signal
import sys

_SET_PARENT_DEATH_SIGNAL = 1

if __name__ == "__main__":
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_SET_PARENT_DEATH_SIGNAL, signal.SIGTERM)
    os.execv(sys.argv[1], sys.argv[1:])  # noqa: S606 - the command is the supervisor's own
