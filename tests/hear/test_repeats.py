"""Notes repeated on one pitch: a dip of the level and a consonant speak for a second note."""

from __future__ import annotations

import numpy as np
import pytest

from liltwright.hear.audio.events import HOP as EVENTS_HOP
from liltwright.hear.audio.events import Events
from liltwright.hear.ears.decode import decode
from liltwright.hear.ears.network import HOP, HOP_S, N_PITCHES, Evidence
from liltwright.hear.ears.repeats import STEPS, features, repeat_peaks, weighed_anew

FRAMES, PLACE, CLASS = 200, 100, 76
DOUBT = 0.35


def evidence(belief: float = DOUBT, after: int = CLASS) -> Evidence:
    """One pitch throughout, or another after PLACE; an onset at 20 and a doubtful one at PLACE."""
    pitch = np.full((FRAMES, N_PITCHES + 1), 1e-4, dtype=np.float32)
    pitch[:20, -1] = pitch[180:, -1] = 0.95
    pitch[20:PLACE, CLASS] = pitch[PLACE:180, after] = 0.95
    onset = np.full(FRAMES, 0.001, dtype=np.float32)
    onset[19:22] = 0.3, 0.95, 0.3
    onset[PLACE - 1 : PLACE + 2] = belief / 2, belief, belief / 2
    none = np.zeros(FRAMES, dtype=np.float32)
    return Evidence(pitch, onset, none, none)


def events(dip_db: float = 0.0, strength: float = 0.5, lead: int = 0) -> Events:
    """An even level with a dip of 40 ms at PLACE; `lead`: frames of silence before it all."""
    level = np.full(STEPS * FRAMES, -20.0, dtype=np.float32)
    flux = np.full(STEPS * FRAMES, 0.5, dtype=np.float32)
    level[STEPS * PLACE - 6 : STEPS * PLACE + 1] -= dip_db
    flux[STEPS * PLACE] = strength
    quiet = np.full(lead, -80.0, dtype=np.float32)
    level, flux = np.concatenate([quiet, level]), np.concatenate([0 * quiet, flux])
    return Events(EVENTS_HOP / 22050, level, flux, -80.0)


def sound(dip_db: float = 0.0) -> np.ndarray:
    """A low hum, and hiss above that dips for 40 ms at PLACE."""
    time = np.arange(FRAMES * HOP)
    hiss = np.random.default_rng(0).standard_normal(len(time)) * 0.01
    hiss[PLACE * HOP - 6 * EVENTS_HOP : PLACE * HOP + 2 * EVENTS_HOP] *= 10 ** (-dip_db / 20)
    return (0.1 * np.sin(2 * np.pi * 220.0 / 22050 * time) + hiss).astype(np.float32)


def weighed(beliefs: Evidence, heard: Events, *, upper_db: float = 0.0, first: int = 0) -> Evidence:
    return weighed_anew(beliefs, sound(upper_db), heard, first)


def test_frames_of_both_fit_together():
    assert HOP == STEPS * EVENTS_HOP


def test_a_doubted_repetition_needs_a_dip():
    even = decode(weighed(evidence(), events()))
    dipped = decode(weighed(evidence(), events(dip_db=12.0, strength=3.0)))
    assert [round(n.onset_s / HOP_S) for n in even] == [20]
    assert [round(n.onset_s / HOP_S) for n in dipped] == [20, PLACE]
    assert dipped[1].confidence > 0.65


def test_without_dip_and_strength_a_belief_becomes_less():
    before = evidence(0.5)
    after = weighed(before, events())
    assert after.onset[PLACE] < 0.3
    assert np.array_equal(after.onset[:90], before.onset[:90])
    assert np.array_equal(after.pitch, before.pitch)


def test_a_change_of_pitch_is_left_to_the_network():
    before = evidence(after=CLASS + 6)
    assert not len(repeat_peaks(before))
    assert weighed(before, events(dip_db=12.0)) is before


def test_beside_a_surer_onset_nothing_is_weighed():
    beliefs = evidence()
    beliefs.onset[PLACE + 8] = 0.9
    assert PLACE not in repeat_peaks(beliefs)


@pytest.mark.parametrize("lead", [0, 20, 2000])
def test_a_piece_hears_what_the_whole_hears(lead):
    whole = weighed(evidence(), events(dip_db=6.0, strength=2.0))
    piece = weighed(evidence(), events(dip_db=6.0, strength=2.0, lead=lead), first=lead)
    assert np.array_equal(whole.onset, piece.onset)


def test_a_mouth_that_closes_is_heard_in_the_upper_bands():
    """The level stays, as it does for an m: a dip of 20 dB above 800 Hz is enough."""
    belief = weighed(evidence(0.5), events()).onset[PLACE]
    hummed = weighed(evidence(0.5), events(), upper_db=20.0).onset[PLACE]
    assert hummed > 0.6 > 0.3 > belief


def test_features_at_the_edges_are_finite():
    edges = np.array([0, FRAMES - 1, 3 * FRAMES])
    for samples in (sound(), np.zeros(10, dtype=np.float32)):
        found = features(np.array([0.0, 1.0, 0.5]), edges, samples, events())
        assert found.shape == (3, 5)
        assert np.all(np.isfinite(found))


def test_dips_are_measured_in_units_of_five_decibels():
    """The level is smoothed over 52 ms: a dip of 41 ms and 10 dB is 7.8 dB deep."""
    at = np.array([PLACE])
    found = features(np.array([0.5]), at, sound(10.0), events(dip_db=10.0))[0]
    assert found[1] == 0.0
    assert found[2] == pytest.approx(10.0 * 7 / 9 / 5.0, abs=0.01)
    assert found[3] == pytest.approx(10.0 / 5.0, abs=0.6)
    assert features(np.array([0.5]), at, sound(), events())[0, 3] < 0.9
