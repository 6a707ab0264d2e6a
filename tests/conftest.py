"""Put the project's folder on the path: the demo's scenes serve the tests but are not installed."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
