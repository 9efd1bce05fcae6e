"""Flow traces with known end values.

Made with numpy 2.4.6 on Python 3.11 (requirements.txt). Run in this folder.
Exact traces have no noise; noisy ones use numpy.random.default_rng(seed).
"""

import json

import numpy as np


def write(name, times, flow):
    given = {"trace": {"time_s": times, "flow_l_min": [round(float(q), 4) for q in flow]},
             "meter_uncertainty_percent": 2.0, "window_s": 10.0}
    with open(f"{name}.json", "w") as file:
        file.write(json.dumps(given, separators=(",", ":")) + "\n")


t = [float(i) for i in range(60)]
x = np.array(t)
write("constant", t, np.full(60, 10.0))
write("start-up", t, 12.0 * (1 - 0.3 * np.exp(-x / 3.0)))
write("ramp", t, 8.0 + 0.05 * x)
write("step-late", t, np.where(x < 55, 9.0, 11.0))

long = [round(0.25 * i, 3) for i in range(240)]
y = np.array(long)


def noise(seed, size=0.05):
    return np.random.default_rng(seed).normal(0.0, size, len(long))


write("noise", long, 10.0 + noise(101))
write("noise-start-up", long, 7.5 * (1 - 0.4 * np.exp(-y / 4.0)) + noise(102))
spiky = 10.0 + noise(103)
for index in (60, 121, 180, 211):
    spiky[index] += 3.0
write("bubbles", long, spiky)
correlated = np.zeros(len(long))
draw = np.random.default_rng(104).normal(0.0, 0.05, len(long))
for index in range(1, len(long)):
    correlated[index] = 0.8 * correlated[index - 1] + draw[index]
write("correlated", long, 10.0 + correlated)
