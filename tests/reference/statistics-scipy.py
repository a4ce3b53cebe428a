"""Tail functions and tests by SciPy; reads JSON from stdin, prints JSON. Run under Debian's python3-scipy."""
import json
import sys

from scipy import special, stats

asked = json.load(sys.stdin)
functions = {
    "logGamma": special.gammaln,
    "gammaUpper": special.gammaincc,
    "gammaLower": special.gammainc,
    "betaLower": special.betainc,
    "normalTail": stats.norm.sf,
    "normalQuantile": stats.norm.ppf,
    "chiSquareTail": stats.chi2.sf,
    "chiSquareQuantile": stats.chi2.ppf,
    "tTwoSided": lambda t, df: 2 * stats.t.sf(abs(t), df),
    # By the beta distribution: t.isf itself is good to 1e-8 only in this version.
    "tQuantileTwoSided": lambda p, df: (lambda x, y: (df * y / x) ** 0.5)(
        stats.beta.ppf(p, df / 2, 0.5), stats.beta.isf(p, 0.5, df / 2)
    ),
    "fTail": stats.f.sf,
    "betaQuantile": stats.beta.ppf,
    "gammaQuantile": lambda p, a: stats.gamma.ppf(p, a),
    "poissonLow": lambda k: stats.gamma.ppf(0.025, k) if k > 0 else 0.0,
    "poissonHigh": lambda k: stats.gamma.ppf(0.975, k + 1),
    "jeffreysLow": lambda k, n: stats.beta.ppf(0.025, k + 0.5, n - k + 0.5),
}
print(json.dumps([float(functions[name](*arguments)) for name, *arguments in asked]))
