"""Key and mode: evidence by closed forms, modes by their scales, the recipe's own steps."""

import numpy as np
import pytest

from liltwright.keys import pitch_class, scale_steps
from liltwright.models import read_arrays
from liltwright.models.key.composed import composed, stock_of
from liltwright.models.key.examples import (
    Example,
    away,
    degree_changes,
    double_tonic,
    gapped,
    honest_mode,
    recoloured,
    rewritten,
    spoiled,
)
from liltwright.models.key.net import Training, fitted, scores, softmax
from liltwright.notate.key.course import ROWS
from liltwright.notate.key.evidence import TABLES, KeyEvidence, trust_in
from liltwright.notate.key.nets import one_net
from liltwright.notate.key.rank import key_chances, rank_keys
from liltwright.notate.key.remarks import key_remarks
from liltwright.tune import MODES, KeyName, NoteEvent, Tune
from tests.benchmark.keys import unreliability
from tests.notate.playing import tune_of

MODE_TUNES = {
    "major": "K:D\nd2fd A2FA|d2fd e4|g2bg f2af|edcA d4|",
    "mixolydian": "K:Dmix\nd2fd A2FA|d2fd =c4|g2bg f2af|ed=cA d4|",
    "dorian": "K:Ador\nA2cA E2GA|A2ce d4|e2ae d2Bd|cAGE A4|A2^fe d2Bd|cAGE A4|",
    "minor": "K:Am\nA2cA E2GA|A2ce =f4|e2ae d2Bd|cAGE A4|A2=fe d2Bd|cAGE A4|",
}


@pytest.mark.parametrize("mode", MODE_TUNES)
def test_the_mode_follows_the_third_sixth_and_seventh(mode: str) -> None:
    """Modes by their scales: ABC standard 2.1, section 3.1.14."""
    header = "X:1\nT:x\nM:4/4\nL:1/8\n"
    tune = tune_of(header + MODE_TUNES[mode])
    best = rank_keys(KeyEvidence.of_parts(tune.parts, tune.bar_length))
    assert best[0].mode == mode
    assert sum(one.probability for one in best) <= 1.001
    assert [one.probability for one in best] == sorted((o.probability for o in best), reverse=True)
    assert all(one.mode in MODES for one in best)


def test_ranking_is_the_same_in_every_key() -> None:
    tune = tune_of("X:1\nT:x\nM:4/4\nL:1/8\n" + MODE_TUNES["dorian"])
    evidence = KeyEvidence.of_parts(tune.parts, tune.bar_length)
    home = rank_keys(evidence)[0]
    assert (home.tonic, rank_keys(evidence.moved(2))[0].tonic) == ("A", "B")
    moved = key_chances(evidence.moved(2))
    assert np.roll(moved, -2, axis=0) == pytest.approx(key_chances(evidence), abs=1e-5)


def test_a_pentatonic_tune_leaves_the_mode_open_and_says_so() -> None:
    tune = tune_of("X:1\nT:x\nM:4/4\nL:1/8\nK:Em\nE2GA B2AB|d2BA B2GE|D2EG A2GA|BAGD E4|")
    remarks = key_remarks(tune.parts, tune.bar_length, KeyName("E", "minor"))
    assert any("pentatonic" in remark and "dorian and minor" in remark for remark in remarks)


def test_a_note_used_both_ways_is_mentioned() -> None:
    tune = tune_of("X:1\nT:x\nM:4/4\nL:1/8\nK:D\nd2fd A2cA|d2fd =c4|g2bg f2=cf|edcA d4|")
    remarks = key_remarks(tune.parts, tune.bar_length, KeyName("D", "major"))
    assert "C# and C are both used." in remarks


HEADER = "X:1\nT:x\nM:4/4\nL:1/8\n"
STRAIN = "K:D\nD2FA d2AF|G2Bd g2dB|A2ce a2ec|d2fa d4|D2FA d2AF|G2Bd g2dB|A2ce agec|d2A2 D4|"


def evidence_of(tune: Tune) -> KeyEvidence:
    return KeyEvidence.of_parts(tune.parts, tune.bar_length)


def test_every_table_is_a_share_and_moves_with_the_tune() -> None:
    evidence = evidence_of(tune_of(HEADER + STRAIN))
    assert evidence.tables.shape == (TABLES, 12)
    sums = evidence.tables.sum(axis=1)
    shares = [row for at, row in enumerate(sums) if at not in (1, 2)]
    assert all(row <= 1 + 1e-9 for row in shares)
    letters = str.maketrans("DEFGABcdefga", "EFGABcdefgab")
    notes = STRAIN.split("\n")[1]
    higher = evidence_of(tune_of(HEADER + "K:E\n" + notes.translate(letters)))
    assert evidence.moved(2).tables == pytest.approx(higher.tables)


def test_bars_outline_their_chords() -> None:
    """Half of the bars are the triad on D, a quarter each those on G and A."""
    evidence = evidence_of(tune_of(HEADER + STRAIN))
    roots = evidence.tables[15 + 8 + 5 + 8]
    likely = [int(root) for root in np.argsort(-roots)[:3]]
    assert likely[0] == pitch_class("D")
    assert set(likely[1:]) == {pitch_class("G"), pitch_class("A")}
    assert roots[likely].sum() > 0.7


def test_a_tune_is_rewritten_into_the_other_modes_by_their_scales() -> None:
    """Steps of the modes: ABC standard 2.1, section 3.1.14."""
    assert degree_changes("dorian", "mixolydian") == {3: 1}
    assert degree_changes("major", "dorian") == {4: -1, 11: -1}
    assert degree_changes("minor", "dorian") == {8: 1, 11: -1}
    tune = tune_of(HEADER + MODE_TUNES["dorian"])
    other = recoloured(tune, pitch_class("A"), {3: 1}, np.random.default_rng(3))
    assert honest_mode(other, KeyName("A", "mixolydian")) == "mixolydian"
    one = Example("x", tune, (KeyName("A", "dorian"),))
    rng = np.random.default_rng(0)
    assert {new.keys[0].mode for new in rewritten(one, rng)} == {"minor", "mixolydian", "major"}


def test_a_gap_leaves_two_keys_open() -> None:
    one = Example("x", tune_of(HEADER + MODE_TUNES["dorian"]), (KeyName("A", "dorian"),))
    third, sixth = gapped(one, np.random.default_rng(0))
    assert [key.mode for key in third.keys] == ["dorian", "mixolydian"]
    assert evidence_of(third.tune).present[pitch_class("C")] == 0
    assert [key.mode for key in sixth.keys] == ["dorian", "minor"]
    assert evidence_of(sixth.tune).present[pitch_class("F#")] == 0


def test_a_double_tonic_tune_repeats_bars_a_step_lower() -> None:
    """Of an A dorian strain some bars come back on the chord of G; its last bar stays."""
    strain = "K:Ador\nA2cA E2cA|B2ge d2BA|c2ec A2ce|A2ce a2ge|A2cA E2cA|B2ge d2BA|c2ec B2ge|A4 A4|"
    one = Example("x", tune_of(HEADER + strain), (KeyName("A", "dorian"),))
    before = one.tune.parts[0].bars
    for seed in range(6):
        (new,) = double_tonic(one, np.random.default_rng(seed))
        after = new.tune.parts[0].bars
        changed = [at for at in range(8) if after[at] != before[at]]
        assert changed
        assert changed[-1] < 7
        lower = [note.midi for note in after[changed[0]]]
        assert any(
            len(bar) == len(lower)
            and all(1 <= note.midi - low <= 2 for note, low in zip(bar, lower, strict=True))
            for bar in before
        )
        assert new.keys == one.keys
    assert not list(
        double_tonic(Example("x", one.tune, (KeyName("A", "major"),)), np.random.default_rng(0))
    )


def test_a_tune_that_closes_away_from_home_keeps_its_key() -> None:
    one = Example("x", tune_of(HEADER + STRAIN), (KeyName("D", "major"),))
    last = one.tune.parts[-1].bars[-1][-1].midi
    for seed in range(6):
        (new,) = away(one, np.random.default_rng(seed))
        bars = new.tune.parts[-1].bars
        assert bars[:-1] == one.tune.parts[-1].bars[:-1]
        assert bars[-1][-1].midi % 12 != last % 12
        second = {
            (2 + 2) % 12: KeyName("E", "dorian"),
            (2 + 7) % 12: KeyName("A", "mixolydian"),
            (2 + 9) % 12: KeyName("B", "minor"),
        }.get(bars[-1][-1].midi % 12)
        assert new.keys == (one.keys if second is None else (*one.keys, second))


def test_spoiling_is_seeded_and_keeps_the_key_hearable() -> None:
    tune = tune_of(HEADER + STRAIN)
    one, other = (spoiled(tune, np.random.default_rng(5)) for _ in range(2))
    assert one == other
    assert rank_keys(evidence_of(one))[0].tonic == "D"


def test_a_net_learns_a_tonic_wherever_it_stands() -> None:
    """The tonic is the only pitch class of the first table: shared weights find it anywhere."""
    rng = np.random.default_rng(1)
    tonic = rng.integers(12, size=400)
    tables = rng.random((400, 2, 12)).astype(np.float32)
    tables[:, 0] = np.eye(12)[tonic]
    target = np.eye(48, dtype=np.float32)[tonic * 4 + 2]
    how = Training(hidden=8, epochs=30, batch=50, rate=0.01, unit_dropout=0.0, table_dropout=0.0)
    net = fitted(tables[tonic < 9], target[tonic < 9], np.ones((tonic < 9).sum()), how, 3)
    said = softmax(scores(net, tables[tonic >= 9])).argmax(axis=1)
    assert (said == target[tonic >= 9].argmax(axis=1)).mean() > 0.98


def test_the_course_says_what_sounds_where() -> None:
    """Halves, single notes and places of a strain by hand."""
    course = evidence_of(tune_of(HEADER + STRAIN)).course
    assert course.sounds.shape == (8, ROWS, 12)
    d, f, a, c = (pitch_class(name) for name in ("D", "F#", "A", "C#"))
    first = course.sounds[0]  # D2FA d2AF
    assert (first[0, d], first[0, f], first[0, a]) == (0.5, 0.25, 0.25)
    assert (first[2, d], first[3, d], first[4, f], first[5, d]) == (1, 1, 1, 1)
    assert course.sounds[6, 4, c] == 1  # A2ce agec
    assert [int(place) for place in course.places[:, :8].argmax(axis=1)] == list(range(8))
    assert course.places[0, 8:12].tolist() == [1, 0, 1, 1]
    assert course.places[7, 8:12].tolist() == [0, 1, 1, 1]


def test_the_networks_say_what_they_said_in_training() -> None:
    """numpy against PyTorch, on the tunes that the recipe kept."""
    kept, stacked = read_arrays("key/reference.npz"), read_arrays("key/course.npz")
    layers = {name: array[0].astype(np.float32) for name, array in stacked.items()}
    names = ("sounds", "places", "there", "scores")
    for sounds, places, there, said in zip(*(kept[name] for name in names), strict=True):
        bars = int(there.sum())
        views = [np.roll(sounds[:bars], -tonic, axis=2).reshape(bars, -1) for tonic in range(12)]
        seen = np.stack([np.hstack([view, places[:bars]]) for view in views])
        ours = one_net(seen.astype(np.float32), layers)
        assert ours.ravel() == pytest.approx(said, abs=1e-3)


def test_composed_tunes_stay_in_their_key_and_rest_at_home() -> None:
    """Bars of one strain, recombined: notes of the scale but for inflected bars; two parts in three
    end on the tonic, which the progressions alone decide."""
    tune = tune_of(HEADER + STRAIN)
    stock = stock_of([Example("x", tune, (KeyName("D", "major"),))])
    assert {place for _, place in stock.figures} == {"open", "middle", "half", "close"}
    made = composed(stock, 60, np.random.default_rng(4))
    assert {one.keys[0].mode for one in made} >= {"major", "mixolydian", "dorian", "minor"}
    homes = 0
    for one in made:
        tonic, steps = pitch_class(one.keys[0].tonic), scale_steps(one.keys[0].mode)
        notes = [note for bar in one.tune.written_bars() for note in bar.notes]
        inside = sum((note.midi - tonic) % 12 in steps for note in notes)
        assert inside > 0.75 * len(notes)
        homes += notes[-1].midi % 12 == tonic
    assert 0.5 * len(made) < homes < len(made)
    again = composed(stock, 60, np.random.default_rng(4))
    assert made == again


def test_a_lydian_signature_says_why() -> None:
    tune = tune_of(HEADER + "K:Glyd\nGABd g2fg|e2^cA GABG|DGBd efge|dBAF G4|")
    remarks = key_remarks(tune.parts, tune.bar_length, KeyName("G", "lydian"))
    assert any("fourth is raised throughout (C#)" in remark for remark in remarks)


def test_a_second_home_that_is_nearly_as_likely_is_named() -> None:
    """A strain on the chords of A minor and G, ending on neither: a double tonic."""
    tune = tune_of(HEADER + "K:Ador\nA2eA cAeA|A2eA cdBc|G2dG BGdG|gedB G2Bd|")
    ranked = rank_keys(evidence_of(tune))
    other = next(one for one in ranked if one.tonic != ranked[0].tonic)
    key = KeyName(ranked[0].tonic, ranked[0].mode)
    said = [r for r in key_remarks(tune.parts, tune.bar_length, key) if "could also be" in r]
    assert bool(said) == (other.probability >= 0.25)


def test_what_the_ear_doubts_weighs_less() -> None:
    sure = [NoteEvent(0.0, 1.0, 62.0, 0.9), NoteEvent(1.0, 2.0, 66.0, 0.9)]
    doubtful = NoteEvent(2.0, 2.1, 65.0, 0.2)
    trust = trust_in([*sure, doubtful])
    assert trust[2] == 1.0
    assert trust[5] < 0.3
    tune = tune_of(HEADER + "K:D\nD2FA d2AF|G2Bd g2=f2|A2ce a2ec|d2fa d4|")
    bare = evidence_of(tune)
    heard = KeyEvidence.of_parts(tune.parts, tune.bar_length, trust)
    assert heard.present[5] < 0.4 * bare.present[5]
    assert heard.tables[0].sum() == pytest.approx(1.0)


def test_unreliability_is_the_distance_between_said_and_right() -> None:
    """Guo et al. 2017, equation 3: |0.8 - 0.5| for ten answers of which half are right."""
    right = np.array([True, False] * 5)
    assert unreliability(np.full(10, 0.85), right) == pytest.approx(0.35)
    assert unreliability(np.full(10, 0.5), right) == pytest.approx(0.0)
