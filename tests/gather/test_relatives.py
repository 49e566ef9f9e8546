"""Relatives by melody: in any key and octave, ornamented or not; strangers are none."""

import random

import pyarrow.parquet

from liltwright.gather.kin import write_relatives
from liltwright.gather.melody import REST, melody_bars, places
from liltwright.gather.relatives import ComparedTune, candidates, relatives
from liltwright.gather.table import write_tunes
from liltwright.read.abc import read_abc


def jig(seed, bars=16):
    rng = random.Random(seed)
    steps = (62, 64, 66, 67, 69, 71, 73, 74, 76, 78)
    at, found = 4, []
    for _ in range(bars):
        bar = []
        for _ in range(6):
            at = min(max(at + rng.choice((-3, -2, -1, -1, 1, 1, 2, 3)), 0), 9)
            bar.append(steps[at])
        found.append(tuple(bar))
    return tuple(found)


def changed(bars, seed, up):
    """The same tune elsewhere on the stave, two of its weak notes in each bar otherwise."""
    rng = random.Random(seed)
    found = []
    for bar in bars:
        notes = list(bar)
        for place in rng.sample((1, 4), 2):
            notes[place] += rng.choice((-2, 2))
        found.append(tuple(note + up for note in notes))
    return tuple(found)


def test_a_tune_is_found_in_another_key_and_octave_with_other_small_notes():
    tunes = [ComparedTune(f"tune {seed}", jig(seed)) for seed in range(60)]
    tunes += [ComparedTune(f"again {seed}", changed(jig(seed), seed, up=up))
              for seed, up in ((3, 5), (7, 12), (11, -14))]  # fmt: skip
    pairs = relatives(tunes)
    assert [(pair.one, pair.other) for pair in sorted(pairs, key=lambda pair: pair.one)] == [
        (3, 60), (7, 61), (11, 62),
    ]  # fmt: skip
    assert {pair.one: pair.semitones for pair in pairs} == {3: 5, 7: 0, 11: -2}
    assert all(pair.bars >= 12 for pair in pairs)


def test_a_part_more_or_less_and_other_bars_between_do_not_hide_it():
    tune = jig(5)
    longer = (*jig(90, 8), *tune[:8], *jig(91, 1), *tune[8:])
    (pair,) = relatives([ComparedTune("tune", tune), ComparedTune("longer", longer)])
    assert pair.likeness > 0.8


def test_strangers_and_scraps_are_no_relatives():
    assert relatives([ComparedTune(str(seed), jig(seed)) for seed in range(100, 160)]) == []
    assert (
        relatives(
            [ComparedTune("a", jig(1, 3)), ComparedTune("b", jig(1, 3)), ComparedTune("c", ())]
        )
        == []
    )
    slip = tuple((*bar, *bar[:3]) for bar in jig(1))
    assert relatives([ComparedTune("jig", jig(1)), ComparedTune("slip jig", slip)]) == []


def test_what_everybody_plays_brings_no_candidates():
    same = [ComparedTune(str(seed), (*jig(1, 8), *jig(seed, 8))) for seed in range(200, 280)]
    assert len(candidates(same)) < 1000  # of 3,160 pairs


def test_the_grid_is_that_of_the_dance():
    assert [places(meter) for meter in ("4/4", "2/4", "6/8", "9/8", "12/8", "3/4")] == [
        8, 8, 6, 9, 12, 6,
    ]  # fmt: skip
    reel = "X:1\nT:x\nR:reel\nM:4/4\nL:1/8\nK:G\nA|:G2BG {c}d3B|z4 G/A/B c2:|\n"
    bars = melody_bars(read_abc(reel, name="x.abc"))
    assert bars[0] == [67, 67, 71, 67, 74, 74, 74, 71]
    assert bars[1][:4] == [REST] * 4


def test_the_table_of_relatives_names_both_tunes(tmp_path):
    tunes = {"one.abc": jig(1), "other.abc": changed(jig(1), 1, 7), "stranger.abc": jig(2)}
    rows = [
        {"file": name, "content": name, "title": name[:3], "melody": [list(bar) for bar in bars]}
        for name, bars in tunes.items()
    ]
    write_tunes([*rows, {"file": "bad.abc", "content": "", "error": "no."}], tmp_path / "t.parquet")
    assert write_relatives(tmp_path / "t.parquet") == 1
    (row,) = pyarrow.parquet.read_table(tmp_path / "relatives.parquet").to_pylist()
    assert (row["file"], row["other_file"], row["semitones"]) == ("one.abc", "other.abc", -5)
    assert row["other_title"] == "oth"
