"""Writes baselines.csv: one invented trace and the baselines that pybaselines draws below it.

python make.py (pybaselines==1.2.1, numpy==2.4.6, scipy==1.17.1) > baselines.csv
"""
import numpy as np
from pybaselines import Baseline

n = 600
x = np.arange(n, dtype=float)
rng = np.random.default_rng(5)
drift = 3.0 + 2.0 * np.sin(x / 190.0) + 0.004 * x
peaks = sum(h * np.exp(-0.5 * ((x - c) / s) ** 2) for h, c, s in
            [(8, 80, 4), (15, 100, 5), (30, 230, 6), (4, 330, 7), (12, 350, 7), (20, 480, 9)])
y = np.round(drift + peaks + rng.normal(0, 0.05, n), 4)
fit = Baseline(x)
columns = {
    "index": x,
    "signal": y,
    "asls_1e5_0.01": fit.asls(y, lam=1e5, p=0.01, tol=1e-3, max_iter=50)[0],
    "arpls_1e5": fit.arpls(y, lam=1e5, tol=1e-3, max_iter=50)[0],
    "airpls_1e6": fit.airpls(y, lam=1e6, tol=1e-3, max_iter=50)[0],
    "snip_30_decreasing": fit.snip(y, max_half_window=30, decreasing=True, pad_kwargs={"mode": "edge"})[0],
    "mor_30": fit.mor(y, half_window=30)[0],
    "imodpoly_4": fit.imodpoly(y, poly_order=4, tol=1e-3, max_iter=250)[0],
}
print("# Invented trace, and its baselines by pybaselines 1.2.1 (numpy 2.4.6, scipy 1.17.1); see make.py.")
print(",".join(columns))
for row in zip(*columns.values()):
    print(",".join([f"{row[0]:.0f}", f"{row[1]:.4f}"] + [f"{v:.12e}" for v in row[2:]]))
