"""Task: tonic and mode as editors give them, beside general analysers and the last-note rules.

In: written tunes of several collections. Out: a table and figures/keys.json.
Method: each tune's evidence is ranked; right are tonic, tonic with mode, and signature. Log loss
    and reliability (ten bins of the first answer's probability; the weighted mean distance between
    said and right) are for tonic and mode together. "edited": editors' mixolydian and dorian
    labels in the dance books, never trained on, nor any relative; "easy" and "minor": dev tunes
    whose printed tonic is beyond doubt; "doubtful": dev tunes that end elsewhere or whose header
    is in doubt, by the project's own reading (models/key/labels.json, first key); "folk songs":
    the Essen collection in music21's folder, tonic by its editors, the mode whose scale on it
    holds most of the song, 100 of a mode at most; phrygian ones, which no dance tune is, stand
    apart; its licence allows non-commercial use, so it is only measured with; "misheard": the
    same tunes with 3 % of the notes dropped and 2 % off by one or two semitones.
References: music21's analysers as they come (Aarden-Essen, Krumhansl-Schmuckler,
    Temperley-Kostka-Payne); C. Guo et al., "On Calibration of Modern Neural Networks", 2017.

A figure below its floor in figures/floors.json makes the run end with exit code 1.

    python -m tests.benchmark.keys [--count 100] [--keep] [--rows]
"""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402

from liltwright.errors import PipelineError  # noqa: E402
from liltwright.keys import key_name, pitch_class, scale_steps, signature_of  # noqa: E402
from liltwright.models.key.examples import Example, edited, printed  # noqa: E402
from liltwright.notate.key.evidence import KeyEvidence  # noqa: E402
from liltwright.notate.key.rank import TRAINED, rank_keys  # noqa: E402
from liltwright.read.abc import read_abc  # noqa: E402
from liltwright.tune import KeyName, Mode, Part, ScoreNote, Tune  # noqa: E402
from tests.benchmark.baselines import music21_keys  # noqa: E402
from tests.benchmark.collections import map_notes  # noqa: E402

FIGURES = Path(__file__).with_name("figures")
BINS = 10
SEED = 5
DROPPED, WRONG = 0.03, 0.02
FLOOR = 1e-4


@dataclass(frozen=True, slots=True)
class Answer:
    """What somebody said of one tune."""

    key: KeyName
    said: float = 1.0
    """Probability given to it."""
    truth: float = 1.0
    """Probability given to the true key."""


class Figures(NamedTuple):
    """Shares of a set of tunes."""

    tonic: float
    mode: float
    signature: float
    log_loss: float | None = None
    unreliable: float | None = None


# ---------------------------------------------------------------- the tunes


def sets(count: int) -> dict[str, list[Example]]:
    """The tunes by the name of the set, at most `count` of a set that is read afresh."""
    labels = json.loads((_models() / "labels.json").read_text(encoding="utf-8"))
    dev = printed("dev")
    sure = [one for one in dev if one.id not in labels]
    found = {
        "edited": edited("train", "dev"),
        "easy": sure,
        "minor": [one for one in sure if one.tune.mode == "minor"],
        "doubtful": [one for one in dev if one.id in labels],
    }
    songs = list(_folk_songs(count))
    found["folk songs"] = [one for one in songs if one.keys[0].mode != "phrygian"]
    found["phrygian songs"] = [one for one in songs if one.keys[0].mode == "phrygian"]
    rng = np.random.default_rng(SEED)
    for name in ("edited", "easy"):
        found[f"{name}, misheard"] = [misheard(one, rng) for one in found[name]]
    return found


def misheard(one: Example, rng: np.random.Generator) -> Example:
    """As a poor ear would give it: notes dropped, others a semitone or a tone off."""

    def note(given: ScoreNote) -> ScoreNote:
        if rng.random() >= WRONG:
            return given
        return replace(given, midi=given.midi + int(rng.choice([-2, -1, 1, 2])))

    def part(given: Part) -> Part:
        kept = tuple(tuple(n for n in bar if rng.random() >= DROPPED) for bar in given.bars)
        return replace(given, bars=kept)

    parts = tuple(part(given) for given in one.tune.parts)
    return replace(one, tune=map_notes(replace(one.tune, parts=parts), note))


def _models() -> Path:
    import liltwright.models.key.examples as module

    return Path(module.__file__).parent


def _folk_songs(count: int) -> Iterator[Example]:
    """Songs of the Essen collection, Chinese ones left out: their header names no tonic."""
    import music21

    folder = Path(music21.__file__).parent / "corpus" / "essenFolksong"
    taken: Counter[str] = Counter()
    for path in sorted(folder.glob("*.abc")):
        if path.stem.startswith(("han", "test")):
            continue
        text = path.read_text(encoding="latin-1").replace("\r", "")
        for number, block in enumerate(re.split(r"(?m)^(?=X:)", text)[1:]):
            one = _folk_song(f"essen/{path.stem}/{number}", block)
            if one is not None and taken[one.keys[0].mode] < count:
                taken[one.keys[0].mode] += 1
                yield one


def _folk_song(name: str, block: str) -> Example | None:
    if re.search(r"(?m)^M: *none", block):
        return None
    try:
        tune = read_abc(block, name="song.abc")
    except (PipelineError, ValueError):
        return None
    here = np.roll(_evidence(tune).present, -pitch_class(tune.tonic))
    modes: tuple[Mode, ...] = (*TRAINED, "phrygian")
    inside = {mode: float(here[list(scale_steps(mode))].sum()) for mode in modes}
    mode = max(inside, key=lambda one: (round(inside[one], 6), one == tune.mode))
    telling = here[[10, 11]] if mode in ("major", "mixolydian") else here[[8, 9]]
    if telling.sum() < 0.004:
        return None
    return Example(name, tune, (KeyName(tune.tonic, mode),))


def _evidence(tune: Tune) -> KeyEvidence:
    return KeyEvidence.of_parts(tune.parts, tune.bar_length)


# ---------------------------------------------------------------- who answers


def ours(one: Example) -> Answer:
    """The ranker of the program."""
    ranked = rank_keys(_evidence(one.tune))
    truth = [c.probability for c in ranked if _same(KeyName(c.tonic, c.mode), one.keys[0])]
    best = ranked[0]
    return Answer(KeyName(best.tonic, best.mode), best.probability, truth[0] if truth else 0.0)


def last_note(one: Example) -> Answer:
    """The last note, with the mode whose scale holds most of the tune."""
    notes = [note for bar in one.tune.written_bars() for note in bar.notes]
    return Answer(_best_mode(one.tune, notes[-1].midi % 12))


def last_on_beat(one: Example) -> Answer:
    """The last note that begins on a beat, with the mode whose scale holds most of the tune."""
    notes = [note for bar in one.tune.written_bars() for note in bar.notes]
    on_beat = [note for note in notes if note.start % one.tune.beat == 0]
    return Answer(_best_mode(one.tune, (on_beat or notes)[-1].midi % 12))


def _best_mode(tune: Tune, tonic: int) -> KeyName:
    here = np.roll(_evidence(tune).present, -tonic)
    return key_name(tonic, max(TRAINED, key=lambda mode: here[list(scale_steps(mode))].sum()))


def _same(one: KeyName, other: KeyName) -> bool:
    return pitch_class(one.tonic) == pitch_class(other.tonic) and one.mode == other.mode


RULES: dict[str, Callable[[Example], Answer]] = {
    "ours": ours,
    "last note": last_note,
    "last note on a beat": last_on_beat,
}


def answers(examples: list[Example], with_music21: bool) -> dict[str, list[Answer]]:
    """Everybody's answers by name."""
    found = {name: [rule(one) for one in examples] for name, rule in RULES.items()}
    if with_music21:
        for one in examples:
            for name, (tonic, mode) in music21_keys(one.tune).items():
                found.setdefault(name, []).append(Answer(key_name(tonic, mode)))  # type: ignore[arg-type]
    return found


# ---------------------------------------------------------------- figures


def figures(examples: list[Example], said: list[Answer], chances: bool) -> Figures:
    """Shares right; with `chances` the log loss and how far probabilities are from the truth."""
    pairs = [(one.keys[0], answer.key) for one, answer in zip(examples, said, strict=True)]
    right = np.array([_same(a, b) for a, b in pairs])
    tonic = np.mean([pitch_class(a.tonic) == pitch_class(b.tonic) for a, b in pairs])
    signature = np.mean([_fifths(a) == _fifths(b) for a, b in pairs])
    found = Figures(
        round(float(tonic), 3), round(float(right.mean()), 3), round(float(signature), 3)
    )
    if not chances:
        return found
    loss = -np.log(np.maximum([answer.truth for answer in said], FLOOR)).mean()
    said_p = np.array([answer.said for answer in said])
    return found._replace(
        log_loss=round(float(loss), 3), unreliable=round(unreliability(said_p, right), 3)
    )


def _fifths(key: KeyName) -> int:
    return signature_of(key.tonic, key.mode) % 12


def unreliability(said: np.ndarray, right: np.ndarray) -> float:
    """Expected calibration error: mean distance between said and right over ten bins."""
    at = np.minimum((said * BINS).astype(int), BINS - 1)
    total = 0.0
    for one in range(BINS):
        inside = at == one
        if inside.any():
            total += inside.mean() * abs(said[inside].mean() - right[inside].mean())
    return float(total)


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=100, help="folk songs of each mode")
    parser.add_argument("--keep", action="store_true", help="leave the figures file as it is")
    parser.add_argument("--no-music21", action="store_true", help="leave music21's analysers out")
    parser.add_argument("--rows", action="store_true", help="print every wrong answer of ours")
    args = parser.parse_args()
    table = {}
    for name, examples in sets(args.count).items():
        said = answers(examples, not args.no_music21)
        table[name] = {"tunes": len(examples)} | {
            who: figures(examples, given, who == "ours")._asdict() for who, given in said.items()
        }
        _print(name, table[name])
        if args.rows:
            _print_rows(examples, said["ours"])
    if not args.keep:
        command = f"python -m tests.benchmark.keys --count {args.count}"
        out = {"name": "keys", "command": command, "sets": table}
        text = json.dumps(out, indent=1) + "\n"
        (FIGURES / "keys.json").write_text(text, encoding="utf-8")
    return _below_floors(table)


def _below_floors(table: dict[str, dict]) -> int:
    """1 when our figures of a set lie below those of "keys" in figures/floors.json, else 0."""
    floors = json.loads((FIGURES / "floors.json").read_text(encoding="utf-8"))["keys"]
    low = [
        f"BELOW FLOOR {group} / {name}: {table[group]['ours'][name]} < {floor}"
        for group, wanted in floors.items()
        for name, floor in wanted.items()
        if table[group]["ours"][name] < floor
    ]
    print("\n".join(low))
    return int(bool(low))


def _print(name: str, rows: dict) -> None:
    print(f"\n{name} ({rows['tunes']} tunes)")
    for who, row in rows.items():
        if who != "tunes":
            values = "".join(f"{'' if v is None else v:>10}" for v in row.values())
            print(f"  {who:<32}{values}", flush=True)


def _print_rows(examples: list[Example], said: list[Answer]) -> None:
    for one, answer in zip(examples, said, strict=True):
        if not _same(one.keys[0], answer.key):
            true, given = one.keys[0], answer.key
            print(
                f"  {one.id:<36}{true.tonic} {true.mode:<12}"
                f"{given.tonic} {given.mode:<12}{answer.said:.2f} {answer.truth:.2f}"
            )


if __name__ == "__main__":
    sys.exit(main())
