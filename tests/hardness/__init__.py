"""Files that are damaged, endless or made to harm: each is read or refused in one sentence."""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # a case is small; helper threads only wait for each other
