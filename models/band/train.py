"""Train the band's ear: python -m liltwright.models.band.train --out DIR (PyTorch, best a GPU).

In     : seeds; FluidSynth's library and the sound font TimGM6mb; weights to begin with.
Out    : DIR/band.pt (averaged weights), DIR/log.txt. models.band.export makes the ONNX file.
Method : as models.ear.train, with mixtures: the network is to give the pitch and the events of the
         lead, whatever else sounds. Step i always has the clips of seed i.
"""

from __future__ import annotations

import argparse
import copy
import time
from pathlib import Path

import numpy as np
import torch
from torch.utils.data import DataLoader, Dataset

from liltwright.models.band.mix import mix
from liltwright.models.band.scenes import pair
from liltwright.models.band.sound import Band
from liltwright.models.ear.net import Ear
from liltwright.models.ear.render import Batch, collate, targets
from liltwright.models.ear.train import Spectra, losses, update_average

Fields = tuple[dict[str, torch.Tensor], dict[str, torch.Tensor], torch.Tensor]
CHECK_SEED = 987654321
HELD = 1.0
"""Inside a note that goes on frames count as much as where its pitch begins anew: a strum of the
accompaniment is no onset of the lead."""


class Steps(Dataset[Fields]):
    """The clips of each training step, made from the step's number."""

    def __init__(self, seed: int, steps: int, clips: int, library: str, font: str) -> None:
        """`library` and `font` are those of FluidSynth."""
        self.seed, self.steps, self.clips = seed, steps, clips
        self.library, self.font = library, font
        self.band: Band | None = None

    def __len__(self) -> int:
        """Number of steps."""
        return self.steps

    def __getitem__(self, step: int) -> Fields:
        """Lead clips, accompaniments and levels of one step."""
        if self.band is None:
            torch.set_num_threads(1)
            self.band = Band(Path(self.library), Path(self.font))
        rng = np.random.default_rng((self.seed, step))
        pairs = [pair(rng, self.band) for _ in range(self.clips)]
        lead, backing = collate([p.lead for p in pairs]), collate([p.backing for p in pairs])
        below = torch.tensor([p.below_db for p in pairs], dtype=torch.float32)
        return _half(vars(lead)), _half(vars(backing)), below


def _half(fields: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    """Sound and levels at half precision for the way between processes."""
    return {k: v.half() if k in ("audio", "level", "noise_level") else v for k, v in fields.items()}


def batch_of(fields: dict[str, torch.Tensor], device: torch.device) -> Batch:
    """The batch of one side on the device, at full precision."""
    moved = Batch(**fields).to(device)
    return Batch(**{k: v.float() if v.dtype == torch.half else v for k, v in vars(moved).items()})


@torch.no_grad()
def check(model: torch.nn.Module, front: Spectra, steps: Steps, device: torch.device) -> str:
    """Frame and onset figures on clips of seeds that training never uses."""
    model.eval()
    sums = np.zeros(8)
    rng_steps = Steps(CHECK_SEED, 6, steps.clips, steps.library, steps.font)
    generator = torch.Generator(device).manual_seed(1)
    for step in range(len(rng_steps)):
        lead, backing, below = rng_steps[step]
        batch = batch_of(lead, device)
        x = mix(batch, batch_of(backing, device), below.to(device), generator)
        pitch, events = model(front(x))
        best, guess = targets(batch).argmax(2), pitch.argmax(2)
        voiced = batch.pitch >= 0
        near = (guess - best).abs()
        right = (near <= 1) & (guess < 207)
        octave = (((near - 36).abs() <= 1) | ((near - 72).abs() <= 1)) & (guess < 207)
        onset, said = batch.events[:, 0] > 0.74, torch.sigmoid(events[..., 0])
        close = torch.nn.functional.max_pool1d(said[:, None], 5, 1, 2)[:, 0]
        false = (said > 0.4) & (batch.events[:, 0] == 0)
        sums += [
            float(v)
            for v in (
                right[voiced].sum(), octave[voiced].sum(), voiced.sum(),
                (guess[~voiced] == 207).sum(), (~voiced).sum(),
                (close[onset] > 0.4).sum(), onset.sum(), false.sum(),
            )
        ]  # fmt: skip
    model.train()
    return (
        f"check pitch {sums[0] / sums[2]:.4f} octave off {sums[1] / sums[2]:.4f}"
        f" silence {sums[3] / sums[4]:.4f} onsets {sums[5] / sums[6]:.4f}"
        f" false {sums[7] / (sums[2] + sums[4]) * 86:.3f}/s"
    )


def train(arguments: argparse.Namespace) -> None:
    """Train for the given steps or minutes, whichever ends first."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(arguments.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    arguments.out.mkdir(parents=True, exist_ok=True)
    model = Ear().to(device)
    if arguments.start:
        model.load_state_dict(torch.load(arguments.start, map_location=device))
    average, front = copy.deepcopy(model), Spectra().to(device)
    optimizer = torch.optim.AdamW(model.parameters(), lr=arguments.rate, weight_decay=0.01)
    steps = Steps(
        arguments.seed, arguments.steps, arguments.clips, arguments.library, arguments.font
    )
    loader = DataLoader(
        steps, batch_size=None, num_workers=arguments.processes, pin_memory=device.type == "cuda",
        prefetch_factor=2 if arguments.processes else None,
    )  # fmt: skip
    generator = torch.Generator(device).manual_seed(arguments.seed)
    log = (arguments.out / "log.txt").open("a", buffering=1)

    def say(line: str) -> None:
        print(line, flush=True)
        log.write(line + "\n")

    begun, saved, sums = time.monotonic(), time.monotonic(), np.zeros(3)
    asked, waited, step = time.monotonic(), 0.0, 0
    for step, (lead, backing, below) in enumerate(loader):
        waited += time.monotonic() - asked
        done = max(step / arguments.steps, (time.monotonic() - begun) / (60 * arguments.minutes))
        if done >= 1:
            break
        rate = arguments.rate * min(1.0, (step + 1) / 100) * 0.5 * (1 + np.cos(np.pi * done))
        for group in optimizer.param_groups:
            group["lr"] = rate
        batch = batch_of(lead, device)
        with torch.no_grad():
            x = mix(batch, batch_of(backing, device), below.to(device), generator)
            spectra = front(x)
        model.train()
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            pitch, events = model(spectra)
        first, second = losses(pitch, events, batch, HELD)
        optimizer.zero_grad(set_to_none=True)
        (first + second).backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimizer.step()
        update_average(average, model, min(0.998, step / (step + 10)))
        if step % 5 == 0:
            sums += (first.item(), second.item(), 1)
        if step % 50 == 49:
            now = time.monotonic()
            say(
                f"{step + 1} pitch {sums[0] / sums[2]:.4f} events {sums[1] / sums[2]:.4f}"
                f" rate {rate:.5f} waited {waited:.1f} t {now - begun:.0f}"
            )
            sums = np.zeros(3)
        asked = time.monotonic()
        if asked - saved > 60:
            torch.save(average.state_dict(), arguments.out / "band.pt")
            saved = time.monotonic()
    torch.save(average.state_dict(), arguments.out / "band.pt")
    say(f"steps {step}")
    say(check(average, front, steps, device))
    log.close()


def main() -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--steps", type=int, default=20000)
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--clips", type=int, default=64)
    parser.add_argument("--rate", type=float, default=1.5e-3)
    parser.add_argument("--processes", type=int, default=15)
    parser.add_argument("--start", help="weights to continue from")
    parser.add_argument("--library", required=True, help="libfluidsynth")
    parser.add_argument("--font", required=True, help="TimGM6mb.sf2")
    train(parser.parse_args())


if __name__ == "__main__":
    main()
