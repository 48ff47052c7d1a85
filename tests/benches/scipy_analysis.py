"""The core of an analysis scripted with scipy, to say how many times faster the program is.

    python tests/benches/scipy_analysis.py FILE [repeats]
    python tests/benches/scipy_analysis.py --make PIECES CONDITIONS STAGES FILE    (draws a file to measure on)
    (numpy, scipy, pandas: versions in tests/fixtures/studies/requirements.txt)

For every stage of a tidy file: each set described (mean, SD, t-interval, Shapiro-Wilk), spreads compared
(Brown-Forsythe), every condition against the storage control with simultaneous intervals (scipy.stats.dunnett
with its interval), Welch's t with interval, Mann-Whitney, a permutation test of the difference of means and
a BCa bootstrap interval of it (9999 draws each, as the program), holder means where there are several.
That is less than the program does: no ratios, no three countings, no words, no figures. Prints the seconds of
processor time of the first run (imports apart) and the median of all.
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


def make(pieces, conditions, stages, path):
    """Loads about 1500 N, three holders in each condition, masses before and after."""
    rng = np.random.default_rng(4)
    each = pieces // (conditions * stages)
    with open(path, "w", encoding="utf-8") as file:
        file.write("specimen,condition,role,stage_days,holder,mass_before_g,mass_after_g,max_load_n\n")
        for stage in range(1, stages + 1):
            for place in range(conditions):
                role = "exposed" if place else "storage_control"
                for at in range(each):
                    load = rng.normal(1500 - 20 * place * stage, 75)
                    mass = rng.normal(12, 0.1)
                    after = mass * (1 + rng.normal(0.02 * place, 0.05) / 100)
                    file.write(f"P{stage}{place}-{at},place {place},{role},{stage * 90},"
                               f"place {place} {at % 3 + 1},{mass:.4f},{after:.4f},{load:.1f}\n")


def main():
    if sys.argv[1] == "--make":
        pieces, conditions, stages = map(int, sys.argv[2:5])
        make(pieces, conditions, stages, sys.argv[5])
        return
    path, repeats = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 3
    took = []
    for _ in range(repeats):
        start = time.process_time()
        analyse(path)
        took.append(time.process_time() - start)
    print(f"{path}: first {took[0]:.3f} s, median {statistics.median(took):.3f} s of {repeats}")


if __name__ == "__main__":
    main()
