"""Two notes in one hand: the arrays agree with the grips of the guitar stage, one by one."""

import numpy as np

from liltwright.arrange.together import pair_ticks
from liltwright.guitar.fretboard import Place
from liltwright.guitar.hand import Hand, grips
from liltwright.guitar.states import NEVER

HAND = Hand()


def test_every_pair_is_held_as_grips_say() -> None:
    fingers = (1, 2, 3, 4)
    upper = np.array([(2, fret, f) for fret in range(1, 8) for f in fingers])
    lower = np.array([(5, fret, f) for fret in range(1, 8) for f in fingers])
    found = pair_ticks(upper, lower, 16, HAND)
    for i, (us, uf, ug) in enumerate(upper.tolist()):
        for j, (ls, lf, lg) in enumerate(lower.tolist()):
            known = {
                grip.fingers for grip in grips((Place(us, uf), Place(ls, lf)), capo=0, hand=HAND)
            }
            # grips also refuses a hand that would begin behind the nut; states.py does here.
            if min(uf - ug, lf - lg) >= 0:
                assert (found[i, j] < NEVER) == ((ug, lg) in known), (uf, ug, lf, lg)


def test_open_strings_never_hinder_and_one_string_holds_one_note() -> None:
    upper = np.array([(3, 0, 0), (3, 5, 1)])
    lower = np.array([(6, 0, 0), (6, 1, 1), (3, 2, 1), (2, 0, 0)])
    found = pair_ticks(upper, lower, 16, HAND)
    assert found[0].tolist()[:2] == [0, 0]
    assert found[1, 0] == 0
    assert (found[:, 2:] >= NEVER).all(), "the same string, or a lower note on a higher string"
