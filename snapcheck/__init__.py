"""snapcheck: check magnetic circuit-cube builds from a photo, by calculation."""

import os

__version__ = "0.1.0"

# onnxruntime's wheels report to their maker unless they find this when they are imported; asked later, or by
# its own disable_telemetry_events(), they report all the same (1.32, tests/cli/test_closed_network.py). Every
# process that works for snapcheck, workers and clusters included, comes through here before anything else.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
