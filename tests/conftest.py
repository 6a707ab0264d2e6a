"""Put the project's folder on the path: the demo's scenes serve the tests but are not installed."""

import os
import sys
from pathlib import Path

# as the command line does, before anything loads them: threads inside small matrices cost more than they give
for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
