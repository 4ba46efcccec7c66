"""Where the Python tests find the generated package: the folder that `tests/run bindings` made."""

import os
import sys

sys.path.insert(0, os.environ["FIRNBOOK_PYTHON"])
