"""Whether this machine's clock is kept right by somebody: the kernel is asked, nobody else.

Whatever keeps the clock (any NTP client) tells the kernel; ``adjtimex`` reads what it was
told and changes nothing. A file that one client leaves behind would say nothing of others.

References:
    [1] adjtimex(2): ``modes`` 0 only reads; STA_UNSYNC in ``status``; returns TIME_ERROR
        where the clock is not synchronised.
"""

import ctypes
import sys
from typing import ClassVar, Final

_STA_UNSYNC: Final = 0x0040
_TIME_ERROR: Final = 5


class _Timex(ctypes.Structure):
    """``struct timex`` as the C library has it; what follows ``status`` is room, not read."""

    _fields_: ClassVar = [
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_char * 256),
    ]


def is_synchronised() -> bool | None:
    """Return whether the machine's clock is synchronised; None: it can't be found out here."""
    if not sys.platform.startswith("linux"):
        return None
    try:
        adjtimex = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):
        return None
    told = _Timex(modes=0)
    state = adjtimex(ctypes.byref(told))
    if state < 0:
        return None
    return state != _TIME_ERROR and not told.status & _STA_UNSYNC
