"""How large a payload may be to be read at all. One number for the session and the receiver."""

from typing import Final

MAX_PAYLOAD_BYTES: Final = 64 * 1024
"""A larger payload is not decoded. A probe's message has some hundred bytes."""
