"""The reference problem as an engineer would script it: numpy, and SLSQP from random starts.

    slsqp.py a|b SEED [COUNT]   until COUNT (20) distinct feasible layouts stand
    slsqp.py check LAYOUT CURVES   how far the curves are from those of another program

A run takes every start to its first feasible point, which is the least work there can be;
with "score" in place of COUNT it takes 20 feasible starts on to the best score. It
prints one line of JSON: seconds by the wall and by the processor since the script began to run
(imports included are those of the whole process, which the caller measures) and the counts.

Positions are vectorised over the 31 samples, the cogs and, for derivatives by differences,
the twelve candidates of one gradient: a candidate is evaluated once, a gradient in one call.
Points are complex numbers, x forward and y up, so that a turn is a multiplication.
"""

import json
import sys
import time

import numpy as np
from scipy.optimize import minimize

VARIANTS = {
    "a": {"sag": 2.60, "travel": 145.0, "straight": 0.06},
    "b": {"sag": 2.695, "travel": 150.0, "straight": 0.02},
}
LOW = np.array([-10, 40, -419, -23, -60, 240, -170, 220, -40, 200, -100], float)
HIGH = np.array([30, 85, -389, 12, 40, 340, -10, 400, 110, 400, -20], float)
AXLE, FRONT, MASS = -439 + 22j, 795 + 22j, 30 + 800j
WHEEL, FORK, LENGTH, STROKE = 368.0, 160.0, 210.0, 60.0
FORK_AXIS = -np.exp(-1j * np.radians(64.5))  # up along the steering axis: back and up
COGS = np.array([10, 12, 14, 16, 18, 21, 24, 28, 33, 39, 45, 51])
RADII = 12.7 / (2 * np.sin(np.pi / COGS))
OFFSETS = RADII - 12.7 / (2 * np.sin(np.pi / 32))
STROKES = np.linspace(0, STROKE, 31)
COSINE_30 = np.cos(np.radians(30))
STEP = 1e-7  # of a box, for derivatives


def dot(a, b):
    return a.real * b.real + a.imag * b.imag


def cross(a, b):
    return a.real * b.imag - a.imag * b.real


def meet(a, b, la2, lb2, side):
    """Where two links of squared lengths la2 and lb2 from a and b meet, on the given side."""
    line = b - a
    d2 = dot(line, line)
    along = 0.5 + (la2 - lb2) / (2 * d2)
    return a + line * (along + 1j * side * np.sqrt(la2 / d2 - along * along))


def square(a):
    return dot(a, a)


def points(x):
    """The six movable pivots of candidates x, shape (n, 11), each a column."""
    z = x[:, 0:10:2] + 1j * x[:, 1:10:2]
    main, stay, rocker, tip, eye = (z[:, i : i + 1] for i in range(5))
    return main, stay, rocker, tip, eye, eye + LENGTH * np.exp(1j * np.radians(x[:, 10:11]))


def move(pivots, strokes=STROKES):
    """Positions and velocities by the stroke; not a number where it does not assemble."""
    main, stay, rocker, tip, eye, frame_eye = pivots
    lengths = LENGTH - strokes
    side = np.sign(cross(frame_eye - rocker, eye - rocker))
    eyes = meet(rocker, frame_eye, square(eye - rocker), lengths * lengths, side)
    tips = rocker + (tip - rocker) / (eye - rocker) * (eyes - rocker)
    side = np.sign(cross(tip - main, stay - main))
    stays = meet(main, tips, square(stay - main), square(stay - tip), side)
    axles = stays + (AXLE - stay) / (tip - stay) * (tips - stays)
    rocker_rate = -lengths / dot(eyes - frame_eye, 1j * (eyes - rocker))
    tip_velocity = rocker_rate * 1j * (tips - rocker)
    link, around = stays - tips, 1j * (stays - main)
    stay_velocity = dot(link, tip_velocity) / dot(link, around) * around
    rate = cross(link, stay_velocity - tip_velocity) / square(link)
    velocity = stay_velocity + 1j * rate * (axles - stays)
    return eyes, tips, stays, axles, velocity, rate


def curves(axles, velocity, rate, travel_end):
    """Travel, leverage rate, anti-squat by cog and anti-rise."""
    z = axles.imag - AXLE.imag
    front = FRONT + FORK * z / travel_end * FORK_AXIS
    ground = front - axles
    base = np.abs(ground)
    t = ground / base
    lift = (dot(MASS - axles, 1j * t) + WHEEL) / base * dot(1j * t, velocity)
    forward = dot(t, velocity)
    rise = -100 * (forward + rate * WHEEL) / lift
    # The pull of the chain's upper run, along the common tangent of cog and chainring.
    chain = -axles[..., None, :]
    d2, offset = square(chain), OFFSETS[:, None]
    run = chain * (np.sqrt(d2 - offset * offset) - 1j * offset) / d2
    pull = WHEEL / RADII[:, None] * dot(run, velocity[..., None, :])
    squat = -100 * (forward[..., None, :] + pull) / lift[..., None, :]
    return z, velocity.imag, squat, rise


FRACTIONS = np.array([0.3, 0.1, 0.6])


def between(z):
    """Of 30, 10 and 60 % of total travel, for a batch: the sample after, and the part to there."""
    wanted = FRACTIONS * z[:, -1:]
    after = np.minimum(np.maximum((z[:, None] < wanted[:, :, None]).sum(axis=2), 1), 30)
    rows = np.arange(len(z))[:, None]
    low = z[rows, after - 1]
    return wanted, rows, after, (wanted - low) / (z[rows, after] - low)


def evaluate(x, variant):
    """Residuals wanted in [-1, 1] and then constraints wanted >= 0, shape (n, 19 + 14)."""
    pivots = points(x)
    main, stay, rocker, tip, eye, frame_eye = pivots
    eyes, tips, stays, axles, velocity, rate = move(pivots)
    z, leverage, squat, rise = curves(axles, velocity, rate, axles[:, -1:].imag - AXLE.imag)
    wanted, rows, after, part = between(z)
    middle = squat[:, 6]
    low = middle[rows, after - 1]
    at = low + part * (middle[rows, after] - low)  # of the 24-tooth cog, at all three
    row, last, share = rows[:, 0], after[:, 0], part[:, 0]
    low = squat[row, :, last - 1]
    squat_sag = low + share[:, None] * (squat[row, :, last] - low)
    low = leverage[row, last - 1]
    leverage_sag = low + share * (leverage[row, last] - low)
    chord = leverage[:, :1] + (leverage[:, -1:] - leverage[:, :1]) / z[:, -1:] * z
    inside = (z > wanted[:, 1:2]) & (z < wanted[:, 2:])
    # Outside, the value at 10 % stands in.
    inner = np.where(inside, middle, at[:, 1:2])
    one, other = stays - tips, rocker - tips
    cosine = dot(one, other) / np.sqrt(square(one) * square(other))

    out = np.empty((len(x), 33))
    out[:, 0] = (leverage[:, 0] - 2.95) / 0.03
    out[:, 1] = (leverage_sag - variant["sag"]) / 0.03
    out[:, 2] = (leverage[:, -1] - 2.10) / 0.03
    out[:, 3] = np.abs(leverage - chord).max(axis=1) / variant["straight"]
    out[:, 4] = z[:, -1] - variant["travel"]
    out[:, 5:17] = (squat_sag - 105) / 25
    most, least = inner.max(axis=1), inner.min(axis=1)
    out[:, 17] = (np.maximum(most, at[:, 2]) - np.minimum(least, at[:, 2])) / 20
    out[:, 18] = np.abs(rise - 60).max(axis=1) / 10
    pairs = (main - rocker, main - frame_eye, rocker - frame_eye, main - stay, stay - AXLE,
             stay - tip, AXLE - tip, rocker - tip, rocker - eye, tip - eye)
    out[:, 19:29] = (np.abs(np.concatenate(pairs, axis=1)) - 30) / 5
    out[:, 29] = 10 * (COSINE_30 - np.abs(cosine).max(axis=1))
    out[:, 30:31] = (frame_eye.imag - 40) / 5
    out[:, 31] = (eyes.imag.min(axis=1) - 40) / 5
    out[:, 32] = 20 * leverage.min(axis=1)
    return out


FAR = np.r_[np.full(19, 1e3), np.full(14, -1e3)]


class Found(Exception):
    """A feasible point was evaluated."""


class Problem:
    """Values once for each candidate, derivatives by differences in one call."""

    def __init__(self, variant, stop_at_feasible):
        self.variant, self.stop = variant, stop_at_feasible
        self.evaluations, self.calls = 0, 0
        self.at = self.slopes_at = None

    def raw(self, u):
        self.evaluations += len(u)
        self.calls += 1
        return evaluate(LOW + (HIGH - LOW) * u, self.variant)

    def values(self, u):
        if self.at is None or not np.array_equal(u, self.at):
            row = self.raw(u[None])[0]
            self.at = u.copy()
            # Where it does not assemble: far off, so that the line search comes back.
            self.row = row if np.isfinite(row).all() else FAR
            if self.stop and feasible(self.row):
                self.found = u.copy()
                raise Found
        return self.row

    def slopes(self, u):
        if self.slopes_at is None or not np.array_equal(u, self.slopes_at):
            base = self.values(u)
            steps = np.where(u < 0.5, STEP, -STEP)
            rows = self.raw(u + np.diag(steps))
            slopes = (rows - base).T / steps
            self.jacobian = np.where(np.isfinite(slopes), slopes, 0.0)
            self.slopes_at = u.copy()
        return self.jacobian

    def objective(self, u):
        residuals = self.values(u)[:19]
        return residuals @ residuals / 19

    def gradient(self, u):
        return 2 / 19 * self.values(u)[:19] @ self.slopes(u)[:19]

    def constraints(self, u):
        row = self.values(u)
        return np.concatenate([1 - row[:19], 1 + row[:19], row[19:]])

    def constraint_slopes(self, u):
        slopes = self.slopes(u)
        return np.concatenate([-slopes[:19], slopes[:19], slopes[19:]])


def feasible(row):
    return np.abs(row[:19]).max() <= 1 and row[19:].min() >= 0


def solve(problem, u):
    problem.found = None
    try:
        result = minimize(
            problem.objective, u, jac=problem.gradient, method="SLSQP", bounds=[(0, 1)] * 11,
            constraints={"type": "ineq", "fun": problem.constraints,
                         "jac": problem.constraint_slopes},
            options={"maxiter": 60, "ftol": 1e-5},
        )
    except Found:
        return problem.found
    # The solver leaves bands by its own accuracy.
    row = problem.values(result.x)
    ok = np.all(np.abs(row[:19]) <= 1 + 1e-5) and np.all(row[19:] >= -1e-5)
    return result.x if ok else None


def search(variant, seed, count, to_the_best):
    random = np.random.default_rng(seed)
    problem = Problem(VARIANTS[variant], not to_the_best)
    archive, best, starts, solved, first = [], np.inf, 0, 0, None
    while (solved if to_the_best else len(archive)) < count:
        # Samples are screened in one call.
        u = random.random((32, 11))
        usable = np.all(np.isfinite(problem.raw(u)), axis=1)
        for start in u[usable]:
            starts += 1
            end = solve(problem, start)
            if end is None:
                continue
            solved += 1
            first = first or problem.evaluations
            best = min(best, float(np.sqrt(problem.objective(end))) if to_the_best else best)
            pivots = np.hstack(points((LOW + (HIGH - LOW) * end)[None]))[0]
            if all(np.max(np.abs(pivots - other)) > 5 for other in archive):
                archive.append(pivots)
            if (solved if to_the_best else len(archive)) >= count:
                break
    return {"distinct": len(archive), "starts": starts, "feasible": solved,
            "evaluations": problem.evaluations, "calls": problem.calls,
            "evaluations_to_first": first,
            "best": best if to_the_best else None}


def check(layout_file, curves_file):
    """The largest differences from the curves that another program gives for a layout."""
    with open(layout_file) as file:
        places = json.load(file)["mechanism"]["points"]
    with open(curves_file) as file:
        theirs = json.load(file)
    names = ["main_pivot", "stay_pivot", "rocker_pivot", "rocker_stay", "shock_rocker",
             "shock_frame"]
    pivots = [np.array([[complex(*places[name])]]) for name in names]
    samples = theirs["samples"]
    strokes = np.array([sample["stroke"] for sample in samples])
    *_, axles, velocity, rate = move(pivots, strokes)
    z, leverage, squat, rise = curves(axles, velocity, rate, theirs["total_travel"])
    off = lambda ours, of: float(np.max(np.abs(ours - np.array([of(s) for s in samples]))))
    return {
        "travel": off(z[0], lambda s: s["travel"]),
        "leverage_rate": off(leverage[0], lambda s: s["leverage_rate"]),
        "anti_rise": off(rise[0], lambda s: s["anti_rise"]),
        "anti_squat": max(off(squat[0, i], lambda s: s["anti_squat"][str(cog)])
                          for i, cog in enumerate(COGS)),
    }


def main():
    begun, used = time.perf_counter(), time.process_time()
    if sys.argv[1] == "check":
        print(json.dumps(check(*sys.argv[2:])))
        return
    variant, seed = sys.argv[1], int(sys.argv[2])
    last = sys.argv[3] if len(sys.argv) > 3 else "20"
    with np.errstate(all="ignore"):
        result = search(variant, seed, 20 if last == "score" else int(last), last == "score")
    result["seconds"] = time.perf_counter() - begun
    result["processor_seconds"] = time.process_time() - used
    print(json.dumps(result))


if __name__ == "__main__":
    main()
