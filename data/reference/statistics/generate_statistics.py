"""Cases from scipy, statsmodels and scikit-learn: writes libraries.toml.

Made with mpmath 1.4.1, numpy 2.4.6, scipy 1.17.1, statsmodels 0.15.0, scikit-learn 1.9.1 on Python 3.11
(requirements.txt). Run in this folder. Random draws come from numpy's default_rng with the number given at each place.
"""

import json

import mpmath
import numpy as np
from scipy import integrate, optimize
from scipy.linalg import expm
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, norm
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss, log_loss
from statsmodels.stats.proportion import proportion_confint

HEAD = """# Written by generate_statistics.py: scores, shares, mixtures, information, evidences and histories by other libraries.

topic = "statistics"
"""
cases = []


def plain(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {plain(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple, np.ndarray)):
        return "[" + ", ".join(plain(item) for item in value) + "]"
    if isinstance(value, (bool, np.bool_)):
        return "true" if value else "false"
    if isinstance(value, (int, np.integer)):
        return str(int(value))
    if isinstance(value, (float, np.floating)):
        return f"{float(value)!r}"
    return json.dumps(value)


def case(title, source, place, calculator, given, expect, tolerance, because):
    cases.append("\n".join([
        "", "[[case]]", f"title = {json.dumps(title)}", 'kind = "reference-library"', f'source = "{source}"',
        f"place = {json.dumps(place)}", f'calculator = "{calculator}"', f"input = {plain(given)}",
        f"expect = {plain(expect)}", f"tolerance = {tolerance}", f"because = {json.dumps(because)}", ""]))


def shares():
    names = {"beta": "clopper-pearson", "wilson": "wilson", "jeffreys": "jeffreys"}
    for hits, trials, coverage in [(0, 10, 0.95), (3, 20, 0.95), (17, 20, 0.9), (97, 100, 0.95), (5, 250, 0.99),
                                   (9012, 10000, 0.95), (2, 10000, 0.95), (49990, 100000, 0.95)]:
        for method, interval in names.items():
            low, high = proportion_confint(hits, trials, alpha=1 - coverage, method=method)
            expect = {"share.value": hits / trials, "share.high": high}
            # Jeffreys' lower end at 0 hits is 0 by convention (Brown, Cai and DasGupta); the library gives the quantile.
            expect["share.low"] = 0.0 if hits == 0 else low
            case(f"{hits} of {trials}, {interval}", "statsmodels",
                 f"statsmodels 0.15.0, proportion_confint({hits}, {trials}, alpha={1 - coverage:.2f}, method='{method}')",
                 "proportion", {"hits": hits, "trials": trials, "coverage": coverage, "interval": interval}, expect,
                 "{ absolute = 1e-10 }", "same definition")


def calibration():
    for number, count, bins, bend in [(11, 40, 5, 1.0), (12, 200, 10, 1.6), (13, 600, 15, 0.6)]:
        draw = np.random.default_rng(number)
        p = np.round(draw.beta(0.7, 0.7, count) * 0.98 + 0.01, 4)
        y = draw.random(count) < p**bend
        # calibration_curve puts an inner end into the lower bin; the draws avoid the ends.
        assert not np.any(np.isclose(p * bins, np.round(p * bins), atol=1e-9))
        share, mean = calibration_curve(y, p, n_bins=bins, strategy="uniform")
        edges = np.linspace(0, 1, bins + 1)
        counts = np.array([n for n in np.histogram(p, edges)[0] if n])
        gap = np.abs(share - mean)
        base = y.mean()
        reliability, resolution = counts @ gap**2 / count, counts @ (share - base) ** 2 / count
        brier = brier_score_loss(y, p)
        simulated = error_if_right(p, bins, number)
        expect = {"expected_calibration_error": counts @ gap / count, "largest_calibration_error": gap.max(),
                  "brier": brier, "log_score": log_loss(y, p), "reliability": reliability, "resolution": resolution,
                  "uncertainty": base * (1 - base), "within_bins": brier - reliability + resolution - base * (1 - base),
                  "error_if_right": simulated, "bins.0.mean_probability": mean[0], "bins.1.count": counts[1]}
        rest = [name for name in expect if name != "error_if_right"]
        tolerance = ", ".join([f'"{name}" = {{ absolute = 1e-11 }}' for name in rest]
                              + ["error_if_right = { relative = 0.05 }"])
        case(f"{count} forecasts in {bins} bins", "scikit-learn",
             f"scikit-learn 1.9.1, calibration_curve(n_bins={bins}), brier_score_loss, log_loss; default_rng({number}); "
             "error_if_right by 20000 simulated sets", "calibration",
             {"probabilities": p, "happened": y, "bins": bins}, expect, f"{{ {tolerance} }}",
             "same definitions; the normal approximation of a bin's error is good to 5 %")


def error_if_right(p, bins, number):
    draw = np.random.default_rng(number + 100)
    place = np.minimum((p * bins).astype(int), bins - 1)
    hit = (draw.random((20000, len(p))) < p) - p
    sums = [np.abs(hit[:, place == at].sum(axis=1)) for at in range(bins)]
    return float(np.mean(sum(sums)) / len(p))


def mixtures():
    sets = {"one": [(1.0, 2.0, 0.5)], "two humps": [(0.3, 0.1, 0.02), (0.7, 0.8, 0.15)],
            "narrow in wide": [(0.5, 0.4, 0.001), (0.5, 0.4, 0.3)],
            "four, weights not 1": [(2.0, 0.0, 0.05), (1.0, 0.2, 0.1), (1.0, 1.5, 0.4), (0.5, 4.0, 1.0)]}
    wanted = [1e-6, 0.025, 0.25, 0.5, 0.9, 0.975]
    for title, parts in sets.items():
        w, m, s = np.array(parts).T
        w = w / w.sum()
        below = lambda x: float(w @ norm.cdf(x, m, s))
        quantile = lambda p: optimize.brentq(lambda x: below(x) - p, (m - 40 * s).min(), (m + 40 * s).max(),
                                             xtol=1e-15, rtol=1e-15)
        mean = w @ m
        length = lambda p: quantile(p + 0.95) - quantile(p)
        grid = np.linspace(1e-6, 0.05 - 1e-6, 2001)
        start = grid[np.argmin([length(p) for p in grid])]
        p = optimize.minimize_scalar(length, bounds=(max(1e-9, start - 5e-5), min(0.05 - 1e-9, start + 5e-5)),
                                     method="bounded", options={"xatol": 1e-12}).x
        expect = {f"quantiles.{at}": quantile(p) for at, p in enumerate(wanted)}
        expect |= {"mean": mean, "sd": np.sqrt(w @ (s**2 + (m - mean) ** 2)), "central.value": quantile(0.5),
                   "central.low": quantile(0.025), "central.high": quantile(0.975),
                   "shortest_low": quantile(p), "shortest_high": quantile(p + 0.95)}
        rough = {"shortest_low", "shortest_high"}
        tolerance = ", ".join(f'"{name}" = {{ absolute = {2e-4 if name in rough else 1e-8} }}' for name in expect)
        case(f"Mixture: {title}", "scipy", "scipy 1.17.1, stats.norm.cdf summed, optimize.brentq; shortest interval by "
             "a grid of 2001 and minimize_scalar", "mixture-quantile",
             {"parts": [{"weight": a, "mean": b, "sd": c} for a, b, c in parts], "probabilities": wanted}, expect,
             f"{{ {tolerance} }}", "root to rounding; a shortest interval's ends are flat to 1e-4")


def information():
    layer = [("even", 1.0 / 40, 0.02 + 0.05 * k, 0.02 + 0.004 * k) for k in range(40)]
    plug = [("plug", 0.5 / 20, 0.3 + 0.03 * k, 0.03) for k in range(20)]
    sets = {
        "two classes, 2 spreads apart": [("a", 1.0, -1.0, 1.0), ("b", 1.0, 1.0, 1.0)],
        "unequal weights and spreads": [("a", 0.9, 0.0, 0.3), ("b", 0.1, 0.4, 0.05)],
        "three classes in one row": [("a", 0.2, 0.0, 0.1), ("b", 0.5, 0.25, 0.1), ("c", 0.3, 0.6, 0.2)],
        "narrow beside wide": [("a", 0.5, 0.0, 1.0), ("b", 0.5, 0.5, 0.001)],
        "as new, layer or plug": [("as-new", 1.0, 0.0, 0.02)] + layer + plug,
    }
    for title, nodes in sets.items():
        classes = list(dict.fromkeys(node[0] for node in nodes))
        w = np.array([node[1] for node in nodes])
        w = w / w.sum()
        m, s = np.array([node[2] for node in nodes]), np.array([node[3] for node in nodes])
        of = np.array([[node[0] == name for node in nodes] for name in classes], float)
        prior = of @ w

        def densities(y):
            return of @ (w[:, None] * norm.pdf(y[None, :], m[:, None], s[:, None]))

        # Evenly spaced places, at least twenty to the smallest spread, and Simpson's rule between them.
        low, high = (m - 9 * s).min(), (m + 9 * s).max()
        spreads = (high - low) / s.min()
        y = np.linspace(low, high, 2 * int(max(10, min(200, 2e5 / spreads)) * spreads) + 1)
        joint = densities(y)
        total = joint.sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            told = np.where(joint > 0, joint * np.log2(joint / (prior[:, None] * total)), 0.0).sum(axis=0)
            posterior = np.where(total > 0, joint / total, 0.0).max(axis=0)
        bits = integrate.simpson(told, x=y)
        # Confident stretches: ends by brentq where the largest posterior crosses, probability by norm.cdf.
        margin = lambda at: float((lambda d: d.max() / d.sum())(densities(np.array([at]))[:, 0])) - 0.95
        crossings = np.nonzero(np.diff((posterior >= 0.95).astype(int)))[0]
        ends = [optimize.brentq(margin, y[at], y[at + 1], xtol=1e-14) for at in crossings if total[at] > 1e-200]
        cdf = lambda at: float(w @ norm.cdf(at, m, s))
        stretches = [low, *ends, high]
        confident = sum(cdf(b) - cdf(a) for a, b in zip(stretches, stretches[1:]) if margin((a + b) / 2) >= 0)
        case(f"Information: {title}", "scipy", "scipy 1.17.1, integrate.simpson of the mutual information over "
             f"{len(y)} places; confidence by optimize.brentq and stats.norm.cdf", "expected-information",
             {"nodes": [dict(zip(("class", "weight", "mean", "sd"), node)) for node in nodes], "threshold": 0.95},
             {"information_bits": bits, "class_entropy_bits": float(-(prior * np.log2(prior)).sum()),
              "confident_probability": confident},
             "{ information_bits = { absolute = 1e-6 }, class_entropy_bits = { absolute = 1e-12 }, "
             "confident_probability = { absolute = 1e-8 } }",
             "7.4 spreads are looked at; panels of one spread, five places each")


def weights():
    sets = {"far below zero": [(-100000.0, 1.0), (-100001.5, 2.0), (-100010.0, 0.5)],
            "far above zero": [(2000.0, 1.0), (1999.0, 1.0)],
            "wide range": [(0.0, 0.2), (-745.0, 0.3), (-2.5, 0.5), (-40.0, 1.0)]}
    for title, models in sets.items():
        e, w = np.array(models).T
        w = w / w.sum()
        total = logsumexp(e, b=w)
        ranked = np.sort(e)[::-1]
        expect = {f"models.{at}.probability": p for at, p in enumerate(np.exp(e + np.log(w) - total))}
        case(f"Weights: {title}", "scipy", "scipy 1.17.1, special.logsumexp(log evidences, b=priors)", "model-weights",
             {"models": [{"name": f"m{at}", "log_evidence": a, "prior": b} for at, (a, b) in enumerate(models)]},
             expect | {"log_evidence": total, "log_bayes_factor": ranked[0] - ranked[1]},
             "{ absolute = 1e-10 }", "same sum; at -1e5 a double holds 1e-11")


def lines():
    for number, count, truth, noise, prior in [(21, 4, (1.0, 0.0), 0.1, (0, 2.0, 0, 1.0)),
                                               (22, 12, (0.5, 0.3), 0.2, (0, 1.0, 0.2, 0.5)),
                                               (23, 12, (0.0, 0.3), 0.2, (0, 1.0, 0, 0.5)),
                                               (24, 60, (2.0, -0.01), 0.05, (1.0, 100.0, 0, 50.0))]:
        draw = np.random.default_rng(number)
        x = np.round(np.linspace(0.5, 6.0, count), 3)
        y = np.round(truth[0] + truth[1] * x + draw.normal(0, noise, count), 4)
        i_mean, i_sd, s_mean, s_sd = prior
        designs = {"constant": (np.ones((count, 1)), [i_mean], [i_sd]),
                   "line": (np.column_stack([np.ones(count), x]), [i_mean, s_mean], [i_sd, s_sd]),
                   "through-origin": (x[:, None], [s_mean], [s_sd])}
        logs = []
        for design, mean, sd in designs.values():
            cov = noise**2 * np.eye(count) + design @ np.diag(np.square(sd)) @ design.T
            logs.append(log_density(y, design, mean, sd, noise))
            # Double precision loses digits to the covariance's condition, up to 1e10.
            assert abs(logs[-1] - multivariate_normal.logpdf(y, design @ np.array(mean), cov)) < 1e-3
        design, mean, sd = designs["line"]
        post = np.linalg.inv(design.T @ design / noise**2 + np.diag(1 / np.square(sd)))
        coef = post @ (design.T @ y / noise**2 + np.array(mean) / np.square(sd))
        p = np.exp(logs - logsumexp(logs))
        expect = {f"models.{at}.log_evidence": value for at, value in enumerate(logs)}
        expect |= {f"models.{at}.probability": value for at, value in enumerate(p)}
        expect |= {"intercept.value": coef[0], "slope.value": coef[1],
                   "slope.high": coef[1] + norm.ppf(0.975) * np.sqrt(post[1, 1]), "best": list(designs)[int(np.argmax(p))]}
        tolerance = ", ".join(f'"{name}" = {{ absolute = 1e-7 }}' for name in expect if name != "best")
        case(f"Evidence of lines, {count} points, set {number}", "scipy",
             f"mpmath 1.4.1, the normal density with the full covariance to 40 digits, and scipy 1.17.1, "
             f"stats.multivariate_normal.logpdf, to 1e-3; default_rng({number})",
             "line-evidence", {"x": x, "y": y, "noise_sd": noise, "intercept_mean": i_mean, "intercept_sd": i_sd,
                               "slope_mean": s_mean, "slope_sd": s_sd}, expect, f"{{ {tolerance} }}",
             "the same density; 1e-7 of a logarithm of up to -1e4")


def log_density(y, design, mean, sd, noise):
    mpmath.mp.dps = 40
    exact = lambda rows: mpmath.matrix([[mpmath.mpf(float(x)) for x in np.atleast_1d(row)] for row in rows])
    x, count = exact(design), len(y)
    spread = mpmath.diag([mpmath.mpf(float(one)) ** 2 for one in sd])
    cov = x * spread * x.T + mpmath.mpf(noise) ** 2 * mpmath.eye(count)
    factor = mpmath.cholesky(cov)
    miss = mpmath.lu_solve(factor, exact(y) - x * exact(mean))
    ln_det = 2 * sum(mpmath.log(factor[at, at]) for at in range(count))
    return float(-(count * mpmath.log(2 * mpmath.pi) + ln_det + (miss.T * miss)[0]) / 2)


def histories():
    names = ["as-new", "even-deposit", "local-plug", "rough"]
    changes = [(0, 1, 0.004), (0, 2, 0.0005), (1, 2, 0.001), (0, 3, 0.0002), (3, 1, 0.002)]
    rates = np.zeros((4, 4))
    for a, b, rate in changes:
        rates[a, b] += rate
        rates[a, a] -= rate
    start = np.array([0.85, 0.1, 0.03, 0.02])
    for title, days in [("a week", 7), ("a year", 365), ("thirty years", 11000)]:
        p = start @ expm(rates * days)
        case(f"States after {title}", "scipy", "scipy 1.17.1, linalg.expm", "state-update",
             {"probabilities": dict(zip(names, start)), "steps": [{"kind": "time", "days": days}],
              "changes": [{"from": names[a], "to": names[b], "rate_per_day": r} for a, b, r in changes]},
             {f"probabilities.{name}": value for name, value in zip(names, p)}, "{ absolute = 1e-10 }", "same chain")
    # Thickness: jointly normal level, slope and readings, conditioned in one go instead of step by step.
    t, reads, sd_read = np.array([30.0, 120.0, 300.0]), np.array([0.12, 0.21, 0.42]), 0.03
    m0, s0, g, sg, walk, end = 0.05, 0.05, 0.001, 0.0008, 0.002, 400.0
    at = np.append(t, end)
    cov = s0**2 + sg**2 * np.outer(at, at) + walk**2 * np.minimum.outer(at, at)
    seen = cov[:3, :3] + sd_read**2 * np.eye(3)
    gain = np.linalg.solve(seen, reads - (m0 + g * t))
    level = m0 + g * end + cov[3, :3] @ gain
    level_sd = np.sqrt(cov[3, 3] - cov[3, :3] @ np.linalg.solve(seen, cov[:3, 3]))
    cross = sg**2 * t
    rate = g + cross @ gain
    rate_sd = np.sqrt(sg**2 - cross @ np.linalg.solve(seen, cross))
    steps, before = [], 0.0
    for when, value in zip(t, reads):
        steps += [{"kind": "time", "days": when - before},
                  {"kind": "reading", "thickness_mm": value, "thickness_uncertainty_mm": sd_read}]
        before = when
    steps.append({"kind": "time", "days": end - before})
    z = norm.ppf(0.975)
    case("A layer read three times", "scipy", "scipy 1.17.1 and numpy 2.4.6, conditioning of the joint normal distribution",
         "state-update", {"probabilities": {"even-deposit": 1.0}, "steps": steps,
                          "thickness": {"value_mm": m0, "uncertainty_mm": s0, "rate_mm_per_day": g,
                                        "rate_uncertainty_mm_per_day": sg, "walk_mm_per_root_day": walk}},
         {"thickness_mm.value": level, "thickness_mm.high": level + z * level_sd, "rate_mm_per_day.value": rate,
          "rate_mm_per_day.low": rate - z * rate_sd}, "{ absolute = 1e-10 }", "the same distribution in one go")


for part in (shares, calibration, mixtures, information, weights, lines, histories):
    part()
with open("libraries.toml", "w", newline="") as file:
    file.write(HEAD + "".join(cases))
