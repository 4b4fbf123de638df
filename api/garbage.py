"""What Python's garbage collector walks through in a program that runs for months.

A round looks for objects that only hold one another. What was loaded at the start, some two hundred
thousand objects, stays as long as the program does: to walk through it again and again finds
nothing and takes a twenty-fifth of the processor. What nobody holds is let go at once without it.
"""

from __future__ import annotations

import gc

NEW_OBJECTS = 20_000
"""How many more objects than went begin a round; 700 by default, met several times a minute."""
YOUNG_ROUNDS = 20


def leave_out_what_is_loaded() -> None:
    """Leave all that is there now out of the rounds to come, and make those rarer.

    To be called once, when everything has started.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(NEW_OBJECTS, YOUNG_ROUNDS, YOUNG_ROUNDS)
