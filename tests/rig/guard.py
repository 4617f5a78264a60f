"""The guard that keeps every frame on this machine, in whatever imports this and in the programs that it starts."""

import os
import sys
from pathlib import Path

GUARD = Path(__file__).parents[1] / "guard"
"""The folder that Python finds `sitecustomize.py` in."""

sys.path.insert(0, str(GUARD))
if "sitecustomize" in sys.modules and not hasattr(sys.modules["sitecustomize"], "SentOutside"):
    del sys.modules["sitecustomize"]
import sitecustomize  # noqa: E402

SentOutside = sitecustomize.SentOutside
os.environ["PYTHONPATH"] = os.pathsep.join([str(GUARD), *filter(None, [os.environ.get("PYTHONPATH")])])
