"""Fits boosted forests with LightGBM (Ke et al. 2017, Advances in Neural Information Processing Systems 30; MIT licence): python fit-forest.py FOLDER.

FOLDER holds task.json {count, width, folds, options} and, little-endian, rows.f32 (count x width), labels.u8, weights.f32, folds.u8 (the fold that a row is
left out of). Writes forests.json: per fold, and last of all rows, { bias, trees: [{ feature, threshold, left, value }] }, nodes in order of breadth.
"""
import json
import os
import sys
from collections import deque
from concurrent.futures import ProcessPoolExecutor
from itertools import repeat

import numpy as np

try:
    import lightgbm
except ImportError:
    sys.exit("fit-forest.py: the package lightgbm is missing; install it with 'python -m pip install lightgbm'")


def flatten(root):
    """A node's children stand next to each other; smaller or equal values go to the first."""
    tree = {"feature": [-1], "threshold": [0], "left": [0], "value": [0]}
    queue = deque([(root, 0)])
    while queue:
        node, at = queue.popleft()
        if "leaf_value" in node and "split_feature" not in node:
            tree["value"][at] = node["leaf_value"]
            continue
        first = len(tree["feature"])
        tree["feature"][at], tree["threshold"][at], tree["left"][at] = node["split_feature"], node["threshold"], first
        for column in tree.values():
            column.extend([0, 0])
        tree["feature"][first] = tree["feature"][first + 1] = -1
        queue.append((node["left_child"], first))
        queue.append((node["right_child"], first + 1))
    return tree


def read_task(folder):
    with open(os.path.join(folder, "task.json"), encoding="utf-8") as file:
        return json.load(file)


def fit(folder, fold):
    """The forest that never saw rows of `fold`; of all rows where it is None."""
    task = read_task(folder)
    read = lambda name, kind: np.memmap(os.path.join(folder, name), dtype=kind, mode="r")
    rows = read("rows.f32", "<f4").reshape(task["count"], task["width"])
    chosen = slice(None) if fold is None else read("folds.u8", "u1") != fold
    y, w = read("labels.u8", "u1")[chosen], read("weights.f32", "<f4")[chosen]
    o = task["options"]
    binning = {"max_bin": 127, "use_missing": False, "min_data_in_leaf": 1, "num_threads": 1}
    settings = {
        **binning, "objective": "binary", "verbosity": -1, "deterministic": True, "force_col_wise": True, "seed": 1,
        "num_leaves": o["leaves"], "learning_rate": o["rate"], "min_sum_hessian_in_leaf": o["leastHessian"], "lambda_l2": o["l2"], "feature_fraction": o["features"], "bagging_fraction": o["sample"], "bagging_freq": 1,
        "boost_from_average": False,
    }
    positive = int(y.sum())
    bias = float(np.log((positive + 1) / (len(y) - positive + 1)))
    data = lightgbm.Dataset(rows[chosen], y, weight=w, init_score=np.full(len(y), bias), params={**binning, "verbosity": -1})
    booster = lightgbm.train(settings, data, o["trees"])
    return {"bias": bias, "trees": [flatten(t["tree_structure"]) for t in booster.dump_model()["tree_info"]]}


def main(folder):
    """Forests side by side with one thread each: two threads in one forest take twice as long as one (measured: 12.3 and 5.9 s, 126 000 rows of 156)."""
    task = read_task(folder)
    with ProcessPoolExecutor(task["options"]["threads"]) as pool:
        forests = list(pool.map(fit, repeat(folder), [*range(task["folds"]), None]))
    with open(os.path.join(folder, "forests.json"), "w", encoding="utf-8") as file:
        json.dump(forests, file)


if __name__ == "__main__":
    main(sys.argv[1])
