"""Fits with scikit-learn and lifelines what the bench of the learner wrote, and prints as JSON what that took of a
processor. Reading and shaping the input is not counted, nor is the first fit of a kind. Usage: fit_again.py WHAT FOLDER.
"""

import json
import sys
import time
import warnings
from pathlib import Path

import numpy as np
from lifelines import KaplanMeierFitter, WeibullFitter
from sklearn.linear_model import LogisticRegression

# Weakening of the ridge: the variance of ours, whose slopes are Normal with a deviation of 0.6 about.
VARIANCE = 0.36


def fits(folder):
    """Every regression, each with both solvers that suit it."""
    numbers = np.fromfile(folder / "fits", dtype="<f8")
    at, given = 0, []
    while at < len(numbers):
        n, width = int(numbers[at]), int(numbers[at + 1])
        at += 2
        rows = numbers[at : at + n * width].reshape(n, width)
        at += n * width
        happened, weights = numbers[at : at + n], numbers[at + n : at + 2 * n]
        at += 2 * n
        # Theirs adds the intercept itself; a regression on nothing else gets a column of noughts.
        columns = rows[:, 1:] if width > 1 else np.zeros((n, 1))
        given.append((np.ascontiguousarray(columns), happened.astype(int), np.ascontiguousarray(weights)))
    found = {"n": len(given)}
    for solver in ["lbfgs", "newton-cholesky"]:
        fit = lambda one: LogisticRegression(C=VARIANCE, solver=solver).fit(*one)
        fit(given[0])
        began = time.process_time()
        for one in given:
            fit(one)
        found[solver] = time.process_time() - began
    return found


def lives(folder):
    """The Weibull law and the life curve, each as often as it takes to be timed."""
    table = np.loadtxt(folder / "lives")
    ages, failed = table[:, 0], table[:, 1]
    law = WeibullFitter().fit(ages, failed)
    curve = KaplanMeierFitter(alpha=0.1).fit(ages, failed)
    return {
        "weibull": repeated(lambda: WeibullFitter().fit(ages, failed)),
        "curve": repeated(lambda: KaplanMeierFitter(alpha=0.1).fit(ages, failed)),
        "shape": law.rho_,
        "scale": law.lambda_,
        "median": curve.median_survival_time_,
    }


def repeated(work):
    began, times = time.process_time(), 0
    while time.process_time() - began < 1.0:
        work()
        times += 1
    return (time.process_time() - began) / times


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    what, folder = sys.argv[1], Path(sys.argv[2])
    print(json.dumps({"fits": fits, "lives": lives}[what](folder)))
