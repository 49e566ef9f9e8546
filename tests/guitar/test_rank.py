"""The ranking: complete, explained by its parts, moved by wishes, the same every time."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.candidates import enumerate_setups
from liltwright.guitar.fingering import finger_melody
from liltwright.guitar.melody import line_of
from liltwright.guitar.player import Player
from liltwright.guitar.rank import RankSettings, rank_setups
from liltwright.guitar.score import facts_of, part_names, setup_parts
from liltwright.guitar.setups import what_does_not_fit
from liltwright.guitar.shortlist import alike, shortlist
from liltwright.guitar.tunings import catalogue, parse_tuning
from liltwright.records import from_json, to_json
from liltwright.tab import RankedSetup, Ranking
from liltwright.tune import Candidates, KeyCandidate, NoteEvent
from tests.guitar.small_tunes import REEL_IN_D, REEL_IN_G, tune_of

TABLE = json.loads(
    (Path(__file__).parents[2] / "models" / "hand" / "weights.json").read_text(encoding="utf-8")
)
G = rank_setups(REEL_IN_G)
D = rank_setups(REEL_IN_D)


def place(ranking: Ranking, tuning: str, capo: int) -> int:
    return min(
        (s.rank for s in ranking.setups if s.tuning == tuning and s.capo == capo), default=10**6
    )


def test_every_setup_that_holds_the_tune_is_listed_once_and_no_other() -> None:
    expected = {
        (tuning.name, capo, transpose)
        for tuning in catalogue()
        for capo in range(10)
        for transpose in (-24, -12, 0)
        if what_does_not_fit(REEL_IN_G, tuning.strings_midi, capo, transpose, Player()) is None
    }
    assert G.searched == len(catalogue()) * 10 * 3
    assert len(G.setups) == len(expected)
    assert {(s.tuning, s.capo, s.transpose) for s in G.setups} == expected


def test_scores_fall_and_are_the_weighted_parts() -> None:
    weights = {row["name"]: row["weight"] for row in TABLE["parts"]}
    for before, after in zip(G.setups, G.setups[1:], strict=False):
        assert before.score >= after.score
        assert after.rank == before.rank + 1
    for setup in G.setups:
        assert set(setup.partial) == set(weights)
        assert all(0 <= value <= 1 for value in setup.partial.values())
        mean = sum(weights[n] * v for n, v in setup.partial.items()) / sum(weights.values())
        assert setup.score == pytest.approx(100 * mean, abs=0.06)


def test_a_tune_in_g_sits_better_in_dadgad_with_capo_five() -> None:
    """Trade fact (common practice)."""
    assert place(G, "DADGAD", 5) < place(G, "DADGAD", 0)
    assert place(G, "DADGAD", 5) < place(G, "standard", 0)


def test_a_tune_in_d_wants_a_low_d() -> None:
    """Trade facts (common practice): session D wants a low D on the bottom."""
    assert min(place(D, "DADGAD", 0), place(D, "drop D", 0)) <= 5
    assert place(D, "drop D", 0) < place(D, "standard", 0)
    assert any("D is not an open bass string" in said for said in D.lower)


def test_moving_tune_and_capo_together_keeps_the_melodys_ease() -> None:
    """Capo arithmetic (common practice): the same frets, only room and reach differ."""
    ranking = rank_setups(
        REEL_IN_G, settings=RankSettings(keys=("F", "G"), tunings=("DADGAD",), capos=(3, 5))
    )
    by_setup = {(s.sounds_in.tonic, s.capo, s.transpose): s for s in ranking.setups}
    low, high = by_setup["F", 3, -14], by_setup["G", 5, -12]
    for part in ("flow", "bass", "drones", "root", "open", "clash", "ring"):
        assert low.partial[part] == high.partial[part]
    assert low.partial["room"] >= high.partial["room"]
    assert low.partial["reach"] < high.partial["reach"]


def test_reasons_say_what_the_tab_shows() -> None:
    best = G.setups[0]
    layer = finger_melody(REEL_IN_G, best.setup)
    top = max(note.fret for bar in layer.bars for note in bar)
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    assert best.reasons[0].startswith(f"Sounds in G, {'no capo' if not best.capo else 'played'}")
    assert len(best.reasons) >= 3
    for reason in best.reasons:
        if "lies within" in reason:
            assert f"within {words[top]} frets" in reason
    usual = [s for s in G.setups if (s.tuning, s.capo) == ("standard", 0)]
    assert any(f"standard, no capo (place {usual[0].rank})" in said for said in G.lower)


def test_a_usual_setup_that_cannot_hold_the_tune_is_explained_by_the_note() -> None:
    tune = tune_of([[50, 62, 66, 69]])  # D3 as written: D2 an octave down
    ranking = rank_setups(tune, settings=RankSettings(tunings=("drop D", "standard")))
    assert not any(s.tuning == "standard" and s.transpose == -12 for s in ranking.setups)


def test_cautions_stand_beside_raised_tunings() -> None:
    raised = next(s for s in G.setups if s.tuning == "open A")
    assert "keep the face away" in " ".join(raised.cautions)
    assert next(s for s in G.setups if s.tuning == "DADGAD").cautions == ()


def test_weights_move_the_ranking() -> None:
    ringing = rank_setups(REEL_IN_G, settings=RankSettings(weights={"ring": 20}))
    assert ringing.setups[0].partial["ring"] >= G.setups[0].partial["ring"]
    assert ringing.setups[0].partial["ring"] == max(
        s.partial["ring"] for s in G.setups[:5] + ringing.setups[:5]
    )
    easy = rank_setups(REEL_IN_G, settings=RankSettings(weights={"retuning": 50}))
    assert easy.setups[0].tuning == "standard"


@pytest.mark.parametrize("weights", [{"speed": 2.0}, {"flow": -1.0}, {"flow": float("nan")}])
def test_unknown_or_senseless_weights_are_refused(weights: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        rank_setups(REEL_IN_G, settings=RankSettings(weights=weights))


def test_the_players_wishes_count() -> None:
    never = Player(tunings_never=("DADGAD", "open G"))
    assert {s.tuning for s in rank_setups(REEL_IN_G, player=never).setups}.isdisjoint(
        {"DADGAD", "open G"}
    )
    own = rank_setups(REEL_IN_G, player=Player(tunings_used=("C2 F2 C3 G3 A3 C4",)))
    assert any(s.strings_midi == parse_tuning("C2 F2 C3 G3 A3 C4")[1] for s in own.setups)
    shy = rank_setups(REEL_IN_G, player=Player(tunings_avoided=(G.setups[0].tuning,)))
    assert place(shy, G.setups[0].tuning, G.setups[0].capo) > 1
    low = rank_setups(REEL_IN_G, player=Player(highest_capo=2))
    assert max(s.capo for s in low.setups) == 2
    settled = rank_setups(REEL_IN_G, player=Player(present_tuning="CGDGAD"))
    kept = next(s for s in settled.setups if s.tuning == "CGDGAD")
    assert kept.partial["retuning"] == 1.0


def test_keys_other_than_the_one_heard() -> None:
    ranking = rank_setups(REEL_IN_G, settings=RankSettings(keys=("A", "Bb"), tunings=("DADGAD",)))
    assert {s.sounds_in.tonic for s in ranking.setups} == {"A", "Bb"}
    everything = rank_setups(REEL_IN_G, settings=RankSettings(keys="any", tunings=("DADGAD",)))
    assert len({s.sounds_in.tonic for s in everything.setups}) == 12
    with pytest.raises(UsageError, match="are no keys"):
        rank_setups(REEL_IN_G, settings=RankSettings(keys=("H",)))


def test_a_tune_that_fits_nowhere_is_refused_with_the_note() -> None:
    wide = tune_of([[40, 100, 40, 100]])
    with pytest.raises(PipelineError, match="None of the 840 setups tried holds the whole tune"):
        rank_setups(wide)


def test_the_same_input_gives_the_same_bytes_and_reads_back() -> None:
    again = rank_setups(REEL_IN_G)
    assert to_json(again) == to_json(G)
    assert from_json(to_json(G), Ranking) == G


def test_robustness_is_given_for_the_first_three() -> None:
    assert len(G.robustness) == 3
    assert all(0 <= share <= 1 for share in G.robustness.values())
    assert sum(G.robustness.values()) <= 3


def test_the_short_list_has_no_near_doubles() -> None:
    few = shortlist(G.setups)
    assert few[0] == G.setups[0]
    assert len(few) == 5
    assert not any(alike(a, b) for a in few for b in few if a is not b)


def test_open_d_capo_five_and_open_e_capo_three_are_the_same_idea() -> None:
    """Both sound G D G B D G: strings and capo add up to the same open strings."""
    one = next(s for s in G.setups if (s.tuning, s.capo) == ("open D", 5))
    other = next(s for s in G.setups if (s.tuning, s.capo) == ("open E", 3))
    assert alike(one, replace(other, transpose=one.transpose))
    assert isinstance(one, RankedSetup)


def test_shifts_without_time_are_named_with_their_bars() -> None:
    """From the first fret of the sixth string to the last of the first, and back, in quavers."""
    tune = tune_of([[41, 80, 41, 80, 41, 80, 41, 80]] * 2, beats_per_minute=124)
    settings = RankSettings(tunings=("standard",), capos=(0,))
    hasty = rank_setups(tune, settings=settings).setups[0]
    assert any("hardly time for the shift in bars 1 and 2" in said for said in hasty.reasons)
    slow = rank_setups(replace(tune, beats_per_minute=20), settings=settings).setups[0]
    assert not any("hardly time" in said for said in slow.reasons)


def test_a_single_note_is_a_tune() -> None:
    ranking = rank_setups(tune_of([[69]]))
    assert ranking.setups[0].score > ranking.setups[-1].score


def test_what_to_retune_is_said_from_the_tuning_on_the_guitar() -> None:
    ranking = rank_setups(
        REEL_IN_G,
        player=Player(present_tuning="drop D"),
        settings=RankSettings(tunings=("DADGAD",)),
    )
    said = " ".join(ranking.setups[0].reasons)
    assert "From drop D: string 2 from B down to A, string 1 from E down to D." in said


def test_a_tune_with_two_homes_counts_both_until_the_player_says_which() -> None:
    """Root and open strings are the mean of both homes', by their shares of the probability."""
    keys = (KeyCandidate("D", "major", 0.5), KeyCandidate("A", "mixolydian", 0.3))
    note = NoteEvent(0.0, 1.0, 62.0, 1.0)
    both = replace(REEL_IN_D, heard=(note,), candidates=Candidates((), keys))
    line = line_of(both)
    facts = {
        "both": facts_of(both, line),
        "D": facts_of(replace(both, overridden={"key": "D:major"}), line),
        "A": replace(facts_of(REEL_IN_D, line), tonic=9),
    }
    assert facts["both"].second == (9, pytest.approx(0.375))
    assert facts["D"].second is None
    assert facts_of(REEL_IN_D, line).second is None
    _, setups = enumerate_setups(both, Player(), RankSettings())
    present = np.array([40, 45, 50, 55, 59, 64])
    parts = {name: setup_parts(one, setups, Player(), present) for name, one in facts.items()}
    for name in ("root", "open"):
        at = part_names().index(name)
        mixed = 0.625 * parts["D"][:, at] + 0.375 * parts["A"][:, at]
        assert parts["both"][:, at] == pytest.approx(mixed)
        assert np.ptp(parts["D"][:, at] - parts["A"][:, at]) > 0.1
    said = [
        s for s in rank_setups(both).setups[:10] for r in s.reasons if "Both homes, D and A" in r
    ]
    assert said
    assert all(
        {(m + s.capo - s.transpose) % 12 for m in s.strings_midi[:3]} >= {2, 9} for s in said
    )
    assert not any("Both homes" in r for s in D.setups[:10] for r in s.reasons)
