"""The core of an analysis scripted with scipy, to say how many times faster the program is.

    python tests/benches/scipy_analysis.py FILE [repeats]
    (numpy, scipy, pandas: versions in tests/fixtures/studies/requirements.txt)

For every stage of a tidy file: each set described (mean, SD, t-interval, Shapiro-Wilk), spreads compared
(Brown-Forsythe), every condition against the storage control with simultaneous intervals (scipy.stats.dunnett
with its interval), Welch's t with interval, Mann-Whitney, a permutation test of the difference of means and
a BCa bootstrap interval of it (9999 draws each, as the program), holder means where there are several.
That is less than the program does: no ratios, no three countings, no words, no figures. Prints seconds for
one run, the first (imports apart) and the median of all.
"""
import statistics
import sys
import time

import numpy as np
import pandas as pd
from scipy import stats

DRAWS = 9999


def analyse(path):
    frame = pd.read_csv(path, sep=None, engine="python")
    rng = np.random.default_rng(1)
    out = []
    for stage, at in frame[frame.role.isin(["storage_control", "exposed"])].groupby("stage_days"):
        sets = {name: here.max_load_n.dropna().to_numpy() for name, here in at.groupby("condition")}
        control_name = at[at.role == "storage_control"].condition.iloc[0]
        for name, values in sets.items():
            half = stats.t.ppf(0.975, len(values) - 1) * stats.sem(values)
            normal = stats.shapiro(values) if len(values) <= 5000 else None
            out.append((stage, name, values.mean(), values.std(ddof=1), half, normal))
        control = sets[control_name]
        others = {name: values for name, values in sets.items() if name != control_name}
        out.append(stats.levene(*sets.values(), center="median"))
        family = stats.dunnett(*others.values(), control=control, rng=rng)
        out.append((family.pvalue, family.confidence_interval(0.95)))
        for name, values in others.items():
            test = stats.ttest_ind(values, control, equal_var=False)
            out.append(test.confidence_interval(0.95))
            out.append(stats.mannwhitneyu(values, control))
            difference = lambda a, b, axis=-1: np.mean(a, axis=axis) - np.mean(b, axis=axis)
            out.append(stats.permutation_test((values, control), difference, n_resamples=DRAWS,
                                              vectorized=True, batch=500, rng=rng).pvalue)
            out.append(stats.bootstrap((values, control), difference, n_resamples=DRAWS, method="BCa",
                                       vectorized=True, batch=500, rng=rng).confidence_interval)
        if "holder" in at and at.holder.notna().any():
            out.append(at.groupby(["condition", "holder"]).max_load_n.mean())
    return out


def main():
    path, repeats = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 3
    took = []
    for _ in range(repeats):
        start = time.perf_counter()
        analyse(path)
        took.append(time.perf_counter() - start)
    print(f"{path}: first {took[0]:.3f} s, median {statistics.median(took):.3f} s of {repeats}")


if __name__ == "__main__":
    main()
