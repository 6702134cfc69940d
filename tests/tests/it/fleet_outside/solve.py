"""Reads {"covers": [[[part, ...] per board] ...], "stock": [{"csv": text, "volume": n or null}, ...]} and prints the
fewest parts of each cover, found by the HiGHS solver of SciPy as an integer program, and for each stock list the parts in
the order of availability and yearly cost, computed with csv and decimal of Python."""

import csv
import io
import json
import sys
from decimal import Decimal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp


def fewest(boards):
    boards = [board for board in boards if board]
    if not boards:
        return 0
    count = 1 + max(max(board) for board in boards)
    rows = np.zeros((len(boards), count))
    for row, board in zip(rows, boards):
        row[board] = 1
    found = milp(np.ones(count), integrality=np.ones(count), bounds=Bounds(0, 1), constraints=LinearConstraint(rows, 1))
    assert found.success, found.message
    return round(found.fun)


def ranked(text, volume):
    states = ["active", "last buy", "obsolete"]
    rows = list(csv.DictReader(io.StringIO(text)))
    costs = {row["part"]: Decimal(row["unit_price"]) * (1 if volume is None else volume) for row in rows}

    def key(row):
        wanted = 1 if volume is None else volume
        lead = int(row["lead_time_days"]) if row["lead_time_days"] else 2**32 - 1
        return (int(row["quantity"]) < wanted, states.index(row["state"]), lead, costs[row["part"]], row["part"])

    return {"order": [row["part"] for row in sorted(rows, key=key)], "costs": {part: str(cost) for part, cost in costs.items()}}


asked = json.load(sys.stdin)
json.dump(
    {
        "covers": [fewest(boards) for boards in asked["covers"]],
        "stock": [ranked(one["csv"], one["volume"]) for one in asked["stock"]],
    },
    sys.stdout,
)
