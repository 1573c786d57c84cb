"""Fits of invented traces by SciPy and lmfit, for tests: python make.py writes fits.csv and traces.csv beside itself.

Versions: see ORIGIN.md. Model: exponentially modified Gaussians on a straight baseline, white noise of known standard
deviation 0.02; standard errors from the Jacobian at the solution times that standard deviation.
"""
import csv
import os

import lmfit
import numpy as np
from scipy import optimize, signal, special

here = os.path.dirname(os.path.abspath(__file__))
SD = 0.02


def emg(t, area, centre, sigma, tau):
    z = (sigma / tau - (t - centre) / sigma) / np.sqrt(2.0)
    u = (t - centre) / sigma
    with np.errstate(over="ignore"):
        front = np.exp(-0.5 * u**2) * special.erfcx(np.maximum(z, -5.0))
        back = np.exp(np.minimum(0.5 * (sigma / tau) ** 2 - u * sigma / tau, 700.0)) * special.erfc(z)
    return area / (2 * tau) * np.where(z > -5.0, front, back)


def model(p, t):
    y = p[0] + p[1] * (t - 3.0)
    for k in range(2, len(p), 4):
        y = y + emg(t, *p[k : k + 4])
    return y


cases = {
    "single": [(1.0, 3.0, 0.08, 0.06)],
    "pair": [(1.0, 3.0, 0.08, 0.06), (0.4, 3.36, 0.08, 0.08)],
    "triple": [(0.5, 2.6, 0.07, 0.05), (1.0, 3.0, 0.08, 0.06), (0.3, 3.4, 0.08, 0.09)],
}
t = np.arange(2000) * 0.003
rng = np.random.default_rng(5)
columns = {"time_min": t}
rows = []
for name, peaks in cases.items():
    truth = [1.0, 0.05] + [x for p in peaks for x in p]
    y = np.round(model(truth, t) + SD * rng.normal(size=len(t)), 6)
    columns[name] = y
    inside = (t >= 2.1) & (t <= 4.3)
    fit = optimize.least_squares(lambda p: (model(p, t[inside]) - y[inside]) / SD, truth, method="lm", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    covariance = np.linalg.inv(fit.jac.T @ fit.jac)
    for k in range(len(peaks)):
        at = 2 + 4 * k
        rows.append(["scipy", name, k] + list(fit.x[at : at + 4]) + [np.sqrt(covariance[at, at]), 2 * fit.cost])
    # lmfit's ExponentialGaussianModel: amplitude is the area, gamma = 1/tau.
    whole = lmfit.models.LinearModel()
    parameters = whole.make_params(slope=0.05, intercept=0.85)
    for k, (area, centre, sigma, tau) in enumerate(peaks):
        one = lmfit.models.ExponentialGaussianModel(prefix=f"p{k}_")
        parameters.update(one.make_params(amplitude=area, center=centre, sigma=sigma, gamma=1 / tau))
        whole = whole + one
    got = whole.fit(y[inside], parameters, x=t[inside], weights=1 / SD, scale_covar=False,
                    fit_kws={"xtol": 1e-13, "ftol": 1e-13, "gtol": 1e-13})
    for k in range(len(peaks)):
        p = got.params
        rows.append(["lmfit", name, k, p[f"p{k}_amplitude"].value, p[f"p{k}_center"].value, p[f"p{k}_sigma"].value,
                     1 / p[f"p{k}_gamma"].value, p[f"p{k}_amplitude"].stderr, got.chisqr])
# Peak finding, prominence and widths on the noise-free triple; smoothing by Savitzky and Golay.
clean = model([0.0, 0.0] + [x for p in cases["triple"] for x in p], t)
apex, _ = signal.find_peaks(clean, prominence=0.01)
half = signal.peak_widths(clean, apex, rel_height=0.5)
for k, i in enumerate(apex):
    rows.append(["find_peaks", "clean", k, t[i], clean[i], half[0][k] * 0.003, signal.peak_prominences(clean, [i])[0][0], "", ""])
columns["clean"] = clean
columns["smooth"] = signal.savgol_filter(columns["triple"], 15, 2)
with open(os.path.join(here, "fits.csv"), "w", newline="") as f:
    w = csv.writer(f)
    w.writerow(["program", "trace", "peak", "area", "centre_min", "sigma_min", "tau_min", "area_se", "chi_squared"])
    w.writerows(rows)
with open(os.path.join(here, "traces.csv"), "w", newline="") as f:
    w = csv.writer(f)
    w.writerow(columns)
    w.writerows([f"{v:.12g}" for v in row] for row in zip(*columns.values()))
