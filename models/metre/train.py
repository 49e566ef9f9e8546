"""Train the metre network: `python -m liltwright.models.metre.train --pages PAGES.npz --out DIR`.

In: the pages that pages.py wrote. Out: DIR/metre.pt, averaged weights, and a log.
Method: worker processes make fresh random performances (performances.py, faults.py); where the
    network learns quicker than they work, every step draws from a pool of the newest ones. AdamW
    with warm-up and cosine decay over the given minutes; the weights that are kept are an
    exponential average. Figures on performances of development tunes are logged.
Reference: D. Choi et al., "Faster neural network training with data echoing", 2019.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import threading
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from liltwright.models.metre.features import IGNORE, example
from liltwright.models.metre.net import HEADS, Metre
from liltwright.models.metre.page import Page, load_pages

WINDOW = 512
WEIGHTS = {"place": 1.0, "step": 0.6, "since": 0.4, "kind": 0.15, "meter": 0.3}
SMOOTH = {"kind": 0.05, "meter": 0.05}
FLAG_WEIGHT = 0.5
MIXED = 0.3
"""Share of melodies that borrow phrases from all types of their metre; their type is not taught."""
FOREIGN = 0.3
"""Share of melodies whose phrases may take pitches from tunes of any type and metre."""
SHARES = {
    ("reel", "4/4"): 3.0, ("jig", "6/8"): 3.0, ("hornpipe", "4/4"): 2.5, ("slip jig", "9/8"): 1.6,
    ("polka", "2/4"): 3.0, ("slide", "6/8"): 2.0, ("waltz", "3/4"): 2.4,
    ("strathspey", "4/4"): 1.2, ("march", "4/4"): 1.6, ("march", "2/4"): 1.5,
    ("march", "6/8"): 0.4, ("air", "4/4"): 0.7, ("air", "6/8"): 0.5, ("air", "3/4"): 0.5,
    ("barn dance", "4/4"): 0.4,
}  # fmt: skip
"""How often a type and metre is drawn: a guess at what people bring (common practice)."""
FIRST = 16
"""Batches in the pool before the first step."""
INPUTS = ("numbers", "before", "after", "chroma", "clock")


class Performances(torch.utils.data.IterableDataset[dict[str, Tensor]]):
    """Batches without end; every worker has its own seed."""

    def __init__(
        self, pages: list[Page], batch: int, seed: int, mixed: float = 0.0, foreign: float = 0.0
    ) -> None:
        """mixed, foreign : see MIXED and FOREIGN."""
        self.batch, self.seed, self.mixed, self.foreign = batch, seed, mixed, foreign
        by: dict[tuple[str, str], list[Page]] = defaultdict(list)
        for page in pages:
            by[page.kind, page.meter].append(page)
        self.groups = [by[name] for name in sorted(by)]
        share = np.array([SHARES.get(name, 0.1) for name in sorted(by)])
        self.share = share / share.sum()
        self.pages = pages
        self.in_meter: dict[str, list[Page]] = defaultdict(list)
        for page in pages:
            self.in_meter[page.meter].append(page)

    def __iter__(self) -> Iterator[dict[str, Tensor]]:
        torch.set_num_threads(1)
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.seed, info.id if info else 0])
        while True:
            yield collated([self._one(rng) for _ in range(self.batch)])

    def _one(self, rng: np.random.Generator) -> dict[str, np.ndarray]:
        while True:
            group = self.groups[int(rng.choice(len(self.groups), p=self.share))]
            page = group[int(rng.integers(len(group)))]
            mixed = rng.random() < self.mixed
            kin = self.in_meter[page.meter] if mixed else group
            others = self.pages if rng.random() < self.foreign else ()
            made = example(page, kin, rng, others)
            if mixed:
                made["kind"][:] = IGNORE
            n = len(made["place"])
            if n < 12:
                continue
            first = int(rng.integers(0, n - WINDOW + 1)) if n > WINDOW else 0
            first = 0 if rng.random() < 0.4 else first
            return {name: array[first : first + WINDOW] for name, array in made.items()}


def collated(examples: list[dict[str, np.ndarray]]) -> dict[str, Tensor]:
    """Padded to WINDOW; "mask" is 1 where there is a note."""
    out: dict[str, Tensor] = {}
    for name, first in examples[0].items():
        fill = IGNORE if name in WEIGHTS else 0
        table = np.full((len(examples), WINDOW, *first.shape[1:]), fill, first.dtype)
        for row, one in zip(table, examples, strict=True):
            row[: len(one[name])] = one[name]
        out[name] = torch.from_numpy(table)
    lengths = torch.tensor([len(one["place"]) for one in examples])
    out["mask"] = (torch.arange(WINDOW)[None] < lengths[:, None]).float()
    out["clock"] = out["clock"] - out["clock"][:, :1]
    return out


class Pool:
    """The newest batches on the device, filled by a thread; steps draw single examples of them."""

    def __init__(self, loader: Iterable[dict[str, Tensor]], device: str, size: int) -> None:
        """size : batches kept; with 1 the newest batch is drawn from alone."""
        self.loader, self.device, self.size = loader, device, size
        self.count, self.over = 0, False
        self.store: dict[str, Tensor] = {}
        self.lock = threading.Lock()
        threading.Thread(target=self._fill, daemon=True).start()

    def _fill(self) -> None:
        for batch in self.loader:
            many = len(batch["mask"])
            first = self.count % self.size * many
            with self.lock:
                for name, value in batch.items():
                    if name not in self.store:
                        shape = (self.size * many, *value.shape[1:])
                        self.store[name] = torch.empty(shape, dtype=value.dtype, device=self.device)
                    self.store[name][first : first + many] = value.to(self.device)
                self.count += 1
            if self.over:
                return

    def __iter__(self) -> Iterator[dict[str, Tensor]]:
        while self.count < min(self.size, FIRST):
            time.sleep(0.05)
        while True:
            with self.lock:
                filled = min(self.count, self.size)
                many = len(self.store["mask"]) // self.size
                rows = torch.randint(0, filled * many, (many,), device=self.device)
                batch = {name: value[rows] for name, value in self.store.items()}
            yield batch


def losses(logits: tuple[Tensor, ...], batch: dict[str, Tensor]) -> dict[str, Tensor]:
    """Mean loss of each output."""
    found = {}
    for name, out in zip(HEADS, logits, strict=True):
        if name == "flags":
            wanted = torch.stack([batch["real"], batch["broken"]], dim=-1)
            raw = nn.functional.binary_cross_entropy_with_logits(
                out.float(), wanted, reduction="none"
            )
            found[name] = (raw * batch["mask"][:, :, None]).sum() / batch["mask"].sum()
        else:
            found[name] = nn.functional.cross_entropy(
                out.float().flatten(0, 1),
                batch[name].flatten(),
                ignore_index=IGNORE,
                label_smoothing=SMOOTH.get(name, 0.0),
            )
    return found


def rights(logits: tuple[Tensor, ...], batch: dict[str, Tensor]) -> dict[str, float]:
    """Share of notes with the right class."""
    out = {}
    for name, raw in zip(HEADS, logits, strict=True):
        if name != "flags":
            known = batch[name] != IGNORE
            out[name] = float((raw.argmax(-1) == batch[name])[known].float().mean())
    return out


def main() -> None:
    """Train until the minutes are over."""
    args = _arguments()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(args.seed)
    out = Path(args.out)
    out.mkdir(parents=True, exist_ok=True)
    net = Metre(args.width, args.layers, args.width // 32, args.dropout, args.deaf).to(device)
    if args.start:
        net.load_state_dict({k: v.float() for k, v in torch.load(args.start).items()})
    kept = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(args.average)
    )
    decay = [p for p in net.parameters() if p.ndim > 1]
    plain = [p for p in net.parameters() if p.ndim <= 1]
    best = torch.optim.AdamW(
        [{"params": decay, "weight_decay": args.decay}, {"params": plain, "weight_decay": 0.0}],
        lr=args.rate, betas=(0.9, 0.98), fused=device == "cuda",
    )  # fmt: skip
    make = Performances(
        load_pages(args.pages, "train"), args.batch, args.seed, args.mixed, args.foreign
    )
    loader = torch.utils.data.DataLoader(
        make, batch_size=None, num_workers=args.workers, pin_memory=device == "cuda",
        prefetch_factor=4 if args.workers else None,
    )  # fmt: skip
    others = Performances(load_pages(args.pages, "dev"), 64, 99)
    dev = [{k: v.to(device) for k, v in one.items()} for one in islice(others, args.checks)]
    quick = torch.compile(net) if args.compile else net
    start, step, logged = time.time(), 0, 0.0
    pool = Pool(loader, device, args.pool)
    for batch in pool:
        done = max((time.time() - start) / (60 * args.minutes), step / args.steps)
        if done >= 1:
            break
        rate = args.rate * min(step / 300 + 0.01, 1.0) * (0.5 + 0.5 * math.cos(math.pi * done))
        for group in best.param_groups:
            group["lr"] = rate
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            logits = quick(*(batch[name] for name in INPUTS), batch["mask"])
        found = losses(logits, batch)
        loss = sum(WEIGHTS.get(name, FLAG_WEIGHT) * value for name, value in found.items())
        best.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        best.step()
        kept.update_parameters(net)
        step += 1
        if time.time() - logged > args.every:
            logged = time.time()
            line: dict[str, float] = {"step": step, "fresh": pool.count}
            line["s"] = round(logged - start)
            line["loss"] = round(loss.item(), 4)
            line |= {f"train {k}": round(v, 4) for k, v in rights(logits, batch).items()}
            line |= _check(kept.module, dev)
            print(json.dumps(line), flush=True)
            with (out / "log.jsonl").open("a") as log:
                log.write(json.dumps(line) + "\n")
            _save(kept.module, out)
    pool.over = True
    print(json.dumps({"step": step, **_check(kept.module, dev)}), flush=True)
    _save(kept.module, out)


def _check(net: nn.Module, dev: list[dict[str, Tensor]]) -> dict[str, float]:
    net.eval()
    total: dict[str, float] = defaultdict(float)
    with torch.no_grad():
        for batch in dev:
            logits = net(*(batch[name] for name in INPUTS), batch["mask"])
            for name, value in rights(logits, batch).items():
                total[name] += value / len(dev)
            for name, value in losses(logits, batch).items():
                total[f"loss {name}"] += float(value) / len(dev)
    net.train()
    return {f"dev {name}": round(value, 4) for name, value in total.items()}


def _save(net: nn.Module, out: Path) -> None:
    state = {name: value.detach().cpu() for name, value in net.state_dict().items()}
    torch.save(state, out / "metre.tmp")
    os.replace(out / "metre.tmp", out / "metre.pt")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pages", required=True)
    parser.add_argument("--out", required=True)
    parser.add_argument("--start", help="weights to begin with")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--steps", type=int, default=10**6)
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--rate", type=float, default=1.5e-3)
    parser.add_argument("--width", type=int, default=160)
    parser.add_argument("--layers", type=int, default=6)
    parser.add_argument("--dropout", type=float, default=0.2)
    parser.add_argument("--deaf", type=float, default=0.1, help="share of melodies without pitch")
    parser.add_argument("--decay", type=float, default=0.1, help="weight decay")
    parser.add_argument("--average", type=float, default=0.998, help="of the kept weights")
    parser.add_argument("--mixed", type=float, default=MIXED)
    parser.add_argument("--foreign", type=float, default=FOREIGN)
    parser.add_argument("--pool", type=int, default=1000, help="newest batches to draw from")
    parser.add_argument("--workers", type=int, default=8)
    parser.add_argument("--checks", type=int, default=8)
    parser.add_argument("--compile", action="store_true", help="quicker steps after a slow start")
    parser.add_argument("--every", type=float, default=30.0)
    return parser.parse_args()


if __name__ == "__main__":
    main()
