"""Weights -> models/band/band.onnx and the reference of the parity test.

    python -m liltwright.models.band.export WEIGHTS.pt[:SHARE] ...

In     : files that models.band.train wrote, of runs of which one began with the weights of the
         other; the mean of their weights is exported, by share.
Out    : band.onnx, reference.npz beside this file (as models.ear.export).
"""

from __future__ import annotations

import sys
from pathlib import Path

from liltwright.models.ear.export import export

HERE = Path(__file__).parent

if __name__ == "__main__":
    export(sys.argv[1:], HERE / "band.onnx", HERE / "reference.npz")
