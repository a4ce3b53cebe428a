"""Regression with autocorrelated noise by the whole covariance matrix; JSON in and out. Run under Debian's python3-numpy."""
import json
import sys

import numpy as np

asked = json.load(sys.stdin)
y, starts = np.array(asked["y"]), asked["starts"]
x = np.array(asked["columns"]).T
n, p, s = len(y), x.shape[1], len(starts) - 1
series = np.searchsorted(starts, np.arange(n), side="right") - 1
levels = (series[:, None] == np.arange(s)).astype(float)
full = np.hstack([x, levels])
lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
same = np.equal.outer(series, series)
results = []
for noise in asked["noises"]:
    rho, share = noise["rho"], noise["share"]
    v = np.where(same, share * float(rho) ** lag, 0.0) + (1 - share) * np.eye(n)
    if rho == 0:
        v = np.eye(n)
    w = np.linalg.inv(v)
    normal = full.T @ w @ full
    b = np.linalg.solve(normal, full.T @ w @ y)
    rest = y - full @ b
    rss = rest @ w @ rest
    free = n - s - p
    covariance = np.linalg.inv(normal) * rss / free
    column = x[:, 1]
    results.append(
        {
            "coefficients": b[:p].tolist(),
            "errors": np.sqrt(np.diag(covariance)[:p]).tolist(),
            # Restricted likelihood, up to a constant.
            "logLikelihood": -0.5 * (free * np.log(rss) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(normal)[1]),
            "inflation": float(column @ v @ column / (column @ column)),
        }
    )
print(json.dumps(results))
