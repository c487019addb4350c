"""Where the simulator's chance comes from: named streams of one seed.

Each probe and each kind of event draws from a stream of its own, so that one more
event leaves every other noise as it was. Never reads the machine's entropy.
"""

import random


def stream(seed: int, name: str) -> random.Random:
    """Return the random stream of a seed and a name; the same pair gives the same stream.

    >>> stream(7, "case-1-air").random() == stream(7, "case-1-air").random()
    True
    """
    return random.Random(f"{seed}/{name}")  # noqa: S311 - noise of a simulation, not a secret
