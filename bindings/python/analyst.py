"""A season as tables: `python analyst.py STORE` prints how deep targets lay and how long each step took."""

import sys
from dataclasses import asdict, is_dataclass
from typing import Any

import firnbook
import pandas as pd
