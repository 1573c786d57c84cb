"""What a person would use instead: a calibration with its diagnostics in statsmodels, propagation in NumPy.

Prints seconds per calibration and per Monte Carlo as JSON; written to be fast within those libraries.
"""
import json
import time

import numpy as np
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.diagnostic import het_breuschpagan
from statsmodels.stats.stattools import durbin_watson

rng = np.random.default_rng(1)
x = np.repeat(np.arange(1.0, 11.0), 3)
y = 3.0 + 2.0 * x + 0.1 * rng.standard_normal(x.size)


def calibration():
    design = np.column_stack([np.ones_like(x), x])
    fit = sm.OLS(y, design).fit()
    influence = fit.get_influence()
    student, cook, leverage = influence.resid_studentized_internal, influence.cooks_distance[0], influence.hat_matrix_diag
    curved = sm.OLS(y, np.column_stack([design, x**2])).fit()
    mandel = curved.compare_f_test(fit)
    pagan = het_breuschpagan(fit.resid, design)
    shape = stats.shapiro(fit.resid)
    runs = durbin_watson(fit.resid)
    levels = sm.OLS(y, (x[:, None] == np.unique(x)).astype(float)).fit()
    lack = levels.compare_f_test(fit)
    # Content of a response of 13, with Fieller's interval.
    a, b = fit.params
    s2, t, n, xm = fit.mse_resid, stats.t.ppf(0.975, fit.df_resid), x.size, x.mean()
    sxx = ((x - xm) ** 2).sum()
    g = t * t * s2 / (b * b * sxx)
    d = (13.0 - a) / b - xm
    half = t / b * np.sqrt(s2 * ((1 - g) * (1 / 3 + 1 / n) + d * d / sxx))
    return (xm + (d - half) / (1 - g), xm + (d + half) / (1 - g), mandel, pagan, shape, runs, lack, student, cook, leverage)


def monte_carlo(trials=1_000_000):
    normal = rng.standard_normal
    response = 37.0 + 0.3 * normal(trials) + 0.1 * normal(trials)
    z1, z2, z3, z4 = normal(trials), normal(trials), normal(trials), normal(trials)
    intercept = 2.0 + 0.2 * z1 + 0.05 * z3
    slope = 1.0 - 0.004 * z1 + 0.003 * z2 - 0.001 * z3 + 0.001 * z4
    content = (response - intercept) / slope
    for u in (0.01, 0.004, 0.005, 0.002, 0.003, 0.001):
        content *= 1.0 + u * normal(trials)
    return content.mean(), content.std(), np.quantile(content, [0.025, 0.975])


def seconds(work, times):
    work()
    rounds = []
    for _ in range(3):
        start = time.perf_counter()
        for _ in range(times):
            work()
        rounds.append((time.perf_counter() - start) / times)
    return sorted(rounds)[1]


print(json.dumps({"calibration_s": seconds(calibration, 20), "monte_carlo_s": seconds(monte_carlo, 3)}))
