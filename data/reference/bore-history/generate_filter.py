"""Forward filters of hidden Markov models by hmmlearn 0.3.3, numpy 2.4.6 and scipy 1.17.1.

The umbrella world is the worked example of Russell and Norvig (2010), section 15.2; its printed values are from memory and
confirmed here. Run: python generate_filter.py > filter.toml"""

import numpy as np
from hmmlearn.hmm import CategoricalHMM
from scipy.linalg import expm

NAMES = ["as-new", "even-deposit", "local-plug", "mixed", "rough", "unknown"]
YEARLY = [(0, 1, 0.30), (0, 2, 0.14), (0, 4, 0.10), (0, 5, 0.026), (1, 3, 0.14), (2, 3, 0.30), (4, 1, 0.30)]


def toml(value):
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(float(value))


def case(title, kind, source, place, data, expect, tolerance, because, memory=False):
    print(f'\n[[case]]\ntitle = "{title}"\nkind = "{kind}"\nsource = "{source}"\nplace = "{place}"')
    print(f'calculator = "state-update"\ninput = {toml(data)}\nexpect = {toml(expect)}')
    print(f'tolerance = {{ absolute = {tolerance} }}\nbecause = "{because}"' + ("\nmemory = true" if memory else ""))


def filtered(model, seen):
    """Filtered, not smoothed: the last row of the posterior of each beginning of the sequence."""
    return model.predict_proba(np.array(seen)[:, None])[-1]


def reading(names, likelihood):
    return {"kind": "reading", "log_likelihood": {n: np.log(p) for n, p in zip(names, likelihood)}}


def umbrella():
    names = ["rain", "dry"]
    rate = -np.log(0.4) / 2  # 0.5 + 0.5 exp(-2 rate) = 0.7
    changes = [{"from": a, "to": b, "rate_per_day": rate} for a, b in (names, names[::-1])]
    seen, unseen = [0.9, 0.2], [0.1, 0.8]
    model = CategoricalHMM(n_components=2)
    model.startprob_ = np.array([0.5, 0.5])
    model.transmat_ = np.array([[0.7, 0.3], [0.3, 0.7]])
    model.emissionprob_ = np.array([seen, unseen]).T
    day = {"kind": "time", "days": 1}
    start = {"probabilities": dict(zip(names, [0.5, 0.5])), "changes": changes}
    book = "section 15.2, umbrella world (printed values from memory): "
    for title, steps, value, place in [
        ("first day", [day, reading(names, seen)], 0.818, "P(rain | umbrella on day 1) = 0.818"),
        ("second day before looking", [day, reading(names, seen), day], 0.627, "P(rain on day 2 | umbrella on day 1) = 0.627"),
        ("second day", [day, reading(names, seen), day, reading(names, seen)], 0.883, "P(rain on day 2 | umbrella on both) = 0.883"),
    ]:
        case(f"Umbrella world, {title}", "published", "russell-norvig-2010", book + place, start | {"steps": steps},
             {"probabilities.rain": value}, 6e-4, "last printed digit", memory=True)
    words = [0, 0, 1, 0, 1, 1, 0]
    steps = sum(([day, reading(names, [seen, unseen][w])] for w in words), [])
    found = filtered(model, words)
    case("Umbrella world, a week", "reference-library", "hmmlearn",
         "hmmlearn 0.3.3, CategoricalHMM.predict_proba, last row, umbrella on days 1, 2, 4, 7", start | {"steps": steps},
         {"probabilities.rain": found[0]}, 1e-10, "same model")


def bores():
    """Six states, a visit every 90 and every 365 days, four kinds of finding."""
    rates = np.zeros((6, 6))
    for a, b, rate in YEARLY:
        rates[a, b] += rate / 365.25
        rates[a, a] -= rate / 365.25
    emission = np.array([[0.80, 0.08, 0.07, 0.05], [0.10, 0.70, 0.10, 0.10], [0.12, 0.20, 0.60, 0.08],
                         [0.05, 0.35, 0.30, 0.30], [0.45, 0.35, 0.10, 0.10], [0.25, 0.25, 0.25, 0.25]])
    start = np.array([0.57, 0.205, 0.09, 0.04, 0.065, 0.03])
    changes = [{"from": NAMES[a], "to": NAMES[b], "rate_per_day": rate / 365.25} for a, b, rate in YEARLY]
    for title, days, seen in [
        ("four visits, one a quarter", 90, [0, 0, 1, 1]),
        ("six visits, one a year", 365, [0, 1, 0, 2, 3, 3]),
        ("twelve visits that contradict each other", 30, [0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2]),
    ]:
        model = CategoricalHMM(n_components=6)
        model.startprob_ = start
        model.transmat_ = expm(rates * days)
        model.emissionprob_ = emission
        steps = []
        for at, word in enumerate(seen):
            steps += ([{"kind": "time", "days": days}] if at else []) + [reading(NAMES, emission[:, word])]
        found = filtered(model, seen)
        case(f"Bore over time: {title}", "reference-library", "hmmlearn",
             "hmmlearn 0.3.3, CategoricalHMM.predict_proba, last row; transitions by scipy 1.17.1, linalg.expm",
             {"probabilities": dict(zip(NAMES, start)), "changes": changes, "steps": steps},
             {f"probabilities.{n}": p for n, p in zip(NAMES, found)}, 1e-9, "same model")


print('topic = "bore-history"')
umbrella()
bores()
