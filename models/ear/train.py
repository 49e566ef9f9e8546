"""Train the ear: python -m liltwright.models.ear.train --out DIR (needs PyTorch, best a GPU).

In     : nothing but seeds; with --library and --font also clips from a small sound font.
Out    : DIR/ear.pt (averaged weights), DIR/log.txt. models.ear.export makes the ONNX file.
Method : every step makes its own clips (processes), renders and degrades them on the GPU, takes
         the same spectra as hear.ears.network, and fits pitch classes (cross entropy with a
         bell around the pitch) and events (binary cross entropy). Step i always has the clips of
         seed i, whatever the number of processes.
"""

from __future__ import annotations

import argparse
import copy
import time
from pathlib import Path

import numpy as np
import torch
from torch.utils.data import DataLoader, Dataset

from liltwright.hear.ears.network import FLOOR, HOP, WINDOWS, filterbank, window
from liltwright.models.ear.curves import FRAMES
from liltwright.models.ear.net import Ear
from liltwright.models.ear.render import Batch, collate, render, targets
from liltwright.models.ear.sampled import Sampler, sampled
from liltwright.models.ear.scenes import SHARES, scene

EVENT_WEIGHTS = (2.0, 0.5, 0.7)
"""Weights of onset, end and ornament in the loss."""
KEEP = 0.998
"""Share of the running average of the weights that a step keeps, once it has run for a while."""


class Steps(Dataset[dict[str, torch.Tensor]]):
    """The clips of each training step, made from the step's number."""

    def __init__(self, seed: int, steps: int, clips: int, sampling: tuple[str, str, float]) -> None:
        """`sampling` is library, sound font and share of clips; an empty library means none."""
        self.seed, self.steps, self.clips, self.sampling = seed, steps, clips, sampling
        self.sampler: Sampler | None = None

    def __len__(self) -> int:
        """Number of steps."""
        return self.steps

    def __getitem__(self, step: int) -> dict[str, torch.Tensor]:
        """All clips of one step, as a dictionary of the fields of Batch."""
        rng = np.random.default_rng((self.seed, step))
        library, font, share = self.sampling
        if library and self.sampler is None:
            self.sampler = Sampler(Path(library), Path(font))
        clips = []
        for _ in range(self.clips):
            if self.sampler is not None and rng.random() < share:
                clips.append(sampled(rng, self.sampler))
            else:
                clips.append(scene(rng))
        return vars(collate(clips))


class Spectra(torch.nn.Module):
    """liltwright.hear.ears.network.spectra on the GPU, for clips of SAMPLES samples."""

    def __init__(self) -> None:
        """Keep windows and filter banks as buffers."""
        super().__init__()
        for i, (length, n_fft) in enumerate(WINDOWS):
            self.register_buffer(f"window{i}", torch.from_numpy(window(length).copy()))
            self.register_buffer(f"bank{i}", torch.from_numpy(filterbank(n_fft).copy()))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """(clips, samples) -> (clips, 3, FRAMES, N_BINS)."""
        result = []
        for i, (length, n_fft) in enumerate(WINDOWS):
            frames = torch.nn.functional.pad(x, (length // 2, length)).unfold(1, length, HOP)
            lines = torch.fft.rfft(frames[:, :FRAMES] * getattr(self, f"window{i}"), n=n_fft)
            power = lines.real**2 + lines.imag**2
            result.append(power @ getattr(self, f"bank{i}"))
        return (torch.log(torch.sqrt(torch.stack(result, 1)) + FLOOR) + 6.0) / 3.0


def losses(
    pitch: torch.Tensor, events: torch.Tensor, batch: Batch, held: float = 0.0
) -> tuple[torch.Tensor, torch.Tensor]:
    """Cross entropy of the pitch and weighted binary cross entropy of the events.

    held : how much more frames count inside a note that goes on, against those where its pitch
           begins anew (1: as much more)
    """
    wanted = targets(batch)
    log = torch.log_softmax(pitch.float(), dim=2)
    weight = 1.0 + 2.0 * batch.events[:, 2] + 1.0 * batch.events[:, 0]
    entropy = -(wanted * torch.log(wanted.clamp(min=1e-6))).sum(2)
    frame = -(wanted * log).sum(2) - entropy
    pitch_loss = (frame * weight).sum() / weight.sum()
    each = torch.nn.functional.binary_cross_entropy_with_logits(
        events.float(), batch.events.transpose(1, 2), reduction="none"
    )
    begins = batch.events[:, 0]
    each[..., 0] *= 1.0 + (begins + held * (1.0 - begins)) * repeated(batch.pitch)
    each = each.mean((0, 1))
    return pitch_loss, (each * torch.tensor(EVENT_WEIGHTS, device=each.device)).sum()


def repeated(pitch: torch.Tensor, reach: int = 4) -> torch.Tensor:
    """1 where the same pitch sounds shortly before and after a frame; (clips, FRAMES)."""
    before = torch.nn.functional.pad(pitch[:, :-reach], (reach, 0), value=-1.0)
    after = torch.nn.functional.pad(pitch[:, reach:], (0, reach), value=-1.0)
    return ((before >= 0) & (after >= 0) & ((before - after).abs() < 0.6)).float()


@torch.no_grad()
def update_average(average: torch.nn.Module, model: torch.nn.Module, keep: float) -> None:
    """Running average of weights and normalisation statistics."""
    for a, b in zip(average.state_dict().values(), model.state_dict().values(), strict=True):
        if a.dtype.is_floating_point:
            a.lerp_(b, 1 - keep)
        else:
            a.copy_(b)


@torch.no_grad()
def check(model: torch.nn.Module, front: Spectra, device: torch.device, clips: int) -> list[str]:
    """Frame and onset figures per family on clips of seeds that training never uses."""
    model.eval()
    lines = []
    for k, family in enumerate(SHARES):
        rng = np.random.default_rng((987654321, k))
        batch = collate([scene(rng, family) for _ in range(clips)]).to(device)
        generator = torch.Generator(device).manual_seed(k)
        pitch, events = model(front(render(batch, generator)))
        best = targets(batch).argmax(2)
        guess = pitch.argmax(2)
        voiced = batch.pitch >= 0
        right = ((guess - best).abs() <= 1) & (guess < 207)
        ornament = batch.events[:, 2] > 0
        onset, said = batch.events[:, 0] > 0.74, torch.sigmoid(events[..., 0])
        near = torch.nn.functional.max_pool1d(said[:, None], 5, 1, 2)[:, 0]
        lines.append(
            f"{family:12s} pitch {right[voiced].float().mean():.3f}"
            f" ornaments {right[ornament].float().mean():.3f}"
            f" silence {(guess[~voiced] == 207).float().mean():.3f}"
            f" onsets {(near[onset] > 0.4).float().mean():.3f}"
            f" false {((said > 0.4) & (batch.events[:, 0] == 0)).float().mean() * 86:.2f}/s"
        )
    return lines


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
    sampling = (arguments.library, arguments.font, arguments.share)
    steps = Steps(arguments.seed, arguments.steps, arguments.clips, sampling)
    loader = DataLoader(
        steps, batch_size=None, num_workers=arguments.processes, pin_memory=device.type == "cuda",
        prefetch_factor=3 if arguments.processes else None,
    )  # fmt: skip
    generator = torch.Generator(device).manual_seed(arguments.seed)
    begun, saved, sums, last = time.monotonic(), time.monotonic(), np.zeros(2), time.monotonic()
    log = (arguments.out / "log.txt").open("a")
    waited, asked = 0.0, time.monotonic()
    for step, fields in enumerate(loader):
        waited += time.monotonic() - asked
        done = max(step / arguments.steps, (time.monotonic() - begun) / (60 * arguments.minutes))
        if done >= 1:
            break
        rate = arguments.rate * min(1.0, (step + 1) / 200) * 0.5 * (1 + np.cos(np.pi * done))
        for group in optimizer.param_groups:
            group["lr"] = rate
        batch = Batch(**fields).to(device)
        with torch.no_grad():
            spectra = front(render(batch, generator))
        model.train()
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            pitch, events = model(spectra)
        first, second = losses(pitch, events, batch)
        optimizer.zero_grad(set_to_none=True)
        (first + second).backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimizer.step()
        update_average(average, model, min(KEEP, step / (step + 10)))
        sums += 0.0 if step % 10 else np.array([first.item(), second.item()])
        if step % 100 == 99:
            now = time.monotonic()
            line = (
                f"{step + 1} pitch {sums[0] / 10:.4f} events {sums[1] / 10:.4f} rate {rate:.5f}"
                f" s/step {(now - last) / 100:.3f} waited {waited / 100:.3f} t {now - begun:.0f}"
            )
            print(line, flush=True)
            log.write(line + "\n")
            sums, last, waited = np.zeros(2), now, 0.0
        asked = time.monotonic()
        if asked - saved > 90:
            torch.save(average.state_dict(), arguments.out / "ear.pt")
            saved = time.monotonic()
    torch.save(average.state_dict(), arguments.out / "ear.pt")
    for line in [f"steps {step}", *check(average, front, device, arguments.check)]:
        print(line, flush=True)
        log.write(line + "\n")
    log.close()


def main() -> None:
    """Read the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--steps", type=int, default=6000)
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--clips", type=int, default=128)
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--processes", type=int, default=16)
    parser.add_argument("--check", type=int, default=48, help="clips per family in the check")
    parser.add_argument("--start", help="weights to continue from")
    parser.add_argument("--library", default="", help="libfluidsynth, for clips from a sound font")
    parser.add_argument("--font", default="", help="TimGM6mb.sf2")
    parser.add_argument("--share", type=float, default=0.3, help="share of those clips")
    train(parser.parse_args())


if __name__ == "__main__":
    main()
