"""The state of a bore with general tools: the same readings and priors in numpy, weighed by `scipy` or by `dynesty`.

Each kind of state is a model of its own, with severities and what is not known for sure as parameters; all have a standard
normal prior after a change of variable. `laplace` finds the best parameters by `scipy.optimize.least_squares` and takes the
evidence from the curvature there; `nested` integrates by nested sampling. One layer covers the whole bore here, ours may
also be patchy; 'none of these' is left out. So the answers agree only as far as their intervals.
"""

import math

import numpy as np

KINDS = ["as-new", "even-deposit", "local-plug", "mixed", "rough"]
# Misfit beside the model by kind: ln drop, exponent, ln volume; as ours.
MISFIT = {"as-new": (0.008, 0.003, 0.004), "even-deposit": (0.05, 0.01, 0.02), "local-plug": (0.02, 0.01, 0.008),
          "mixed": (0.05, 0.01, 0.02), "rough": (0.03, 0.01, 0.006)}
SEVERITIES = {"as-new": 0, "even-deposit": 1, "local-plug": 1, "mixed": 2, "rough": 1}
# Width, roughness, level, exponent, meter, gauges, volume; then misfits of drop, exponent and volume; layer's roughness.
UNKNOWNS = 11
LEFT, SHARE = (0.25, 0.975), (0.12, 0.88)
SCATTER, REPEATS, LAYER_UM = 0.3, 0.003, 60.0


def below(z):
    return 0.5 * math.erfc(-z / math.sqrt(2))


class Bore:
    """Readings, and what a kind of state says of them."""

    def __init__(self, given):
        self.given = given
        points = np.array(given["points"])
        self.flow, self.seen = points[:, 0] / 6e4, points[:, 1]
        gain = 2 * given["flow_relative"] * self.seen
        self.scatter = np.sqrt((SCATTER * gain) ** 2 + (SCATTER * given["gauges_bar"]) ** 2
                               + (2 * REPEATS * self.seen) ** 2)
        self.new_m, self.length_m = given["bore_mm"] / 1e3, given["length_mm"] / 1e3
        clean = given["roughness_um"] * 1e-6
        low, high = 1e-5, 1e-2
        for _ in range(80):
            middle = math.sqrt(low * high)
            low, high = (middle, high) if self.friction(np.array([middle]), self.new_m, clean)[0] < 1 else (low, middle)
        self.reference = np.array([low])
        # Extra drop at the reference flow against thickness and roughness, for the way from severity to size.
        self.sizes = np.concatenate([[0.0], np.geomspace(1e-3, 0.42 * given["bore_mm"], 400)])
        self.extra = np.array([self.friction(self.reference, self.new_m - 2e-3 * t, LAYER_UM * 1e-6 if t else clean)[0]
                               for t in self.sizes]) - 1
        self.extra = np.maximum.accumulate(self.extra)
        self.walls = np.geomspace(clean, 380e-6, 200)
        self.rougher = np.array([self.friction(self.reference, self.new_m, wall)[0] for wall in self.walls]) - 1

    def friction(self, flow, bore_m, roughness_m):
        """Drop of the bore in bar: Haaland, laminar below 2000."""
        area = math.pi / 4 * bore_m**2
        reynolds = self.given["density_kg_m3"] * flow / area * bore_m / self.given["viscosity_pa_s"]
        turbulent = (-1.8 * np.log10((roughness_m / bore_m / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2
        factor = np.where(reynolds < 2000, 64 / reynolds, turbulent)
        return factor * self.length_m / bore_m * self.given["density_kg_m3"] * (flow / area) ** 2 / 2e5

    def extra_of(self, z, most=math.inf):
        """Extra drop from a standard normal number: the flow left is even between its ends."""
        left = LEFT[1] - below(z) * (LEFT[1] - max(LEFT[0], (1 + most) ** (-1 / 1.8)))
        return left**-1.8 - 1

    def shape(self, kind, x):
        """Thickness in m, plug in bar at the reference flow, roughness of a rough wall in m."""
        thickness, plug, rough = 0.0, 0.0, None
        if kind == "even-deposit":
            thickness = np.interp(self.extra_of(x[0]), self.extra, self.sizes) / 1e3
        elif kind == "local-plug":
            plug = self.extra_of(x[0])
        elif kind == "mixed":
            share = SHARE[0] + below(x[1]) * (SHARE[1] - SHARE[0])
            thickness = np.interp(share * self.extra_of(x[0]), self.extra, self.sizes) / 1e3
            plug = (1 - share) * self.extra_of(x[0])
        elif kind == "rough":
            rough = np.interp(self.extra_of(x[0], self.rougher[-1]), self.rougher, self.walls)
        return thickness, plug, rough

    def misses(self, kind, x):
        """Reading minus model over its spread: three drops, volume, baseline."""
        g, odd = self.given, MISFIT[kind]
        thickness, plug, rough = self.shape(kind, x)
        width, wall, level, bend, meter, gauges, room, odd_level, odd_bend, odd_room, layer = x[SEVERITIES[kind]:]
        bore = self.new_m + width * g["bore_sd_mm"] / 1e3
        clean = g["roughness_um"] * 1e-6 * math.exp(wall * g["roughness_ln_sd"])
        roughness = rough if rough is not None else clean
        if thickness > 0:
            roughness = LAYER_UM * 1e-6 * math.exp(layer * g["roughness_ln_sd"])
        relative = np.log(self.flow / self.reference)
        off = 1.8 * g["flow_ln"] * level + odd[0] * odd_level + relative * (g["exponent_sd"] * bend + odd[1] * odd_bend)
        drop = self.friction(self.flow, bore - 2 * thickness, roughness) * np.exp(off)
        drop = (drop + plug * (self.flow / self.reference) ** 2) * math.exp(-1.85 * g["flow_relative"] * meter)
        drop = drop + gauges * g["gauges_bar"]
        volume = math.pi / 4 * (bore - 2 * thickness) ** 2 * self.length_m * 1e6
        volume *= math.exp(room * g["volume_ln"] + odd[2] * odd_room)
        # As new, at 1 bar: the flow by the exponent 1.8 from the drop at the reference flow.
        was = self.friction(self.reference, bore, clean)[0] * math.exp(1.8 * g["flow_ln"] * level)
        factor = self.reference[0] * 3600 * was ** (-1 / 1.8)
        return np.concatenate([(self.seen - drop) / self.scatter,
                               [(g["volume_ml"] / volume - 1) / g["volume_relative"],
                                (g["baseline_m3_h"] / factor - 1) / g["baseline_relative"]]])

    def ln_scale(self):
        g = self.given
        return -np.log(self.scatter).sum() - math.log(g["volume_relative"] * g["volume_ml"]) \
            - math.log(g["baseline_relative"] * g["baseline_m3_h"]) - 2.5 * math.log(2 * math.pi)

    def thickness_mm(self, kind, x):
        return self.shape(kind, x)[0] * 1e3


def quantiles(values, weights):
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    return [float(values[order][np.searchsorted(share, p)]) for p in (0.5, 0.025, 0.975)]


def weighed(bore, found):
    """Probabilities from log evidences, and thickness over the kinds with a layer: samples with weights."""
    prior = np.array(bore.given["prior"][:5])
    logs = np.array([found[kind][0] for kind in KINDS]) + np.log(prior)
    share = np.exp(logs - logs.max())
    share /= share.sum()
    values, weights = [], []
    for kind, one in zip(KINDS, share):
        if kind in ("even-deposit", "mixed"):
            _, mm, weight = found[kind]
            values.append(mm)
            weights.append(one * weight / weight.sum())
    middle, low, high = quantiles(np.concatenate(values), np.concatenate(weights))
    return middle, {"low": low, "high": high, "even_deposit": float(share[1]), "mixed": float(share[3])}


def laplace(bore):
    """Best parameters from three starts for each severity; evidence and thickness from the curvature there."""
    from scipy.optimize import least_squares

    spread = np.linspace(-3, 3, 41)
    found, calls = {}, 0
    for kind in KINDS:
        free = SEVERITIES[kind]
        target = lambda x, kind=kind: np.concatenate([bore.misses(kind, x), x])
        best = None
        for start in np.array(np.meshgrid(*[[-1.0, 0.0, 1.0]] * free)).reshape(free, -1).T if free else [[]]:
            one = least_squares(target, np.concatenate([start, np.zeros(UNKNOWNS)]), method="lm")
            calls += one.nfev
            best = one if best is None or one.cost < best.cost else best
        covariance = np.linalg.inv(best.jac.T @ best.jac)
        ln_evidence = bore.ln_scale() - best.cost + 0.5 * np.linalg.slogdet(covariance)[1]
        mm = np.empty(0)
        if kind in ("even-deposit", "mixed"):
            # Along the severities' principal directions, straight from the normal approximation.
            root = np.linalg.cholesky(covariance[:free, :free])
            if free == 1:
                steps = spread[:, None]
            else:
                steps = np.stack(np.meshgrid(spread, spread), axis=-1).reshape(-1, 2)
            mm = np.array([bore.thickness_mm(kind, best.x[:free] + root @ z) for z in steps])
            weight = np.exp(-0.5 * (steps**2).sum(axis=1))
            found[kind] = ln_evidence, mm, weight
        else:
            found[kind] = ln_evidence, mm, mm
    middle, more = weighed(bore, found)
    return middle, more | {"steps": calls}


def nested(bore):
    """Nested sampling of each kind, 250 live points, to 0.5 in ln evidence."""
    import dynesty
    from scipy.special import ndtri

    found, calls = {}, 0
    for at, kind in enumerate(KINDS):
        likelihood = lambda x, kind=kind: bore.ln_scale() - 0.5 * float(np.square(bore.misses(kind, x)).sum())
        sampler = dynesty.NestedSampler(likelihood, ndtri, SEVERITIES[kind] + UNKNOWNS, nlive=250,
                                        rstate=np.random.default_rng(at), sample="rwalk", bound="multi")
        sampler.run_nested(dlogz=0.5, print_progress=False)
        results = sampler.results
        calls += int(np.sum(results.ncall))
        weight = np.exp(results.logwt - results.logz[-1])
        mm = np.array([bore.thickness_mm(kind, x) for x in results.samples])
        found[kind] = float(results.logz[-1]), mm, weight
    middle, more = weighed(bore, found)
    return middle, more | {"steps": calls}
