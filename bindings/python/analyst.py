"""A season as tables, in ten lines: `python analyst.py STORE` describes how deep targets lay and how long their steps took."""

import sys

import firnbook
import pandas as pd


def season(store: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One row a target, and one row a run and target."""
    log = firnbook.Logbook.open(store)
    days = [day.id for day in log.days()]
    targets = pd.DataFrame([vars(row) for day in days for row in log.targets(day)])
    runs = pd.DataFrame([vars(row) for day in days for row in log.runs(day)])
    return targets, runs


if __name__ == "__main__":
    for table in season(sys.argv[1]):
        print(table.describe().to_string())
