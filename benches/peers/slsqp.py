"""The reference problem as an engineer would script it: numpy and SLSQP from random starts.

Usage: slsqp.py a|b SEED. Prints seconds and evaluations to the first feasible layout, to
20 distinct ones, and the best score. The problem is that of tests/it/data/reference: values
at a fraction of travel are interpolated between 31 positions, derivatives are differences.
"""

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
AXLE = np.array([-439.0, 22.0])
FRONT = np.array([795.0, 22.0])
MASS = np.array([30.0, 800.0])
WHEEL, HEAD, FORK, LENGTH, STROKE = 368.0, np.radians(64.5), 160.0, 210.0, 60.0
COGS = np.array([10, 12, 14, 16, 18, 21, 24, 28, 33, 39, 45, 51])
RADII = 12.7 / (2 * np.sin(np.pi / COGS))
RING = 12.7 / (2 * np.sin(np.pi / 32))
STROKES = np.linspace(0, STROKE, 31)


def turned(v):
    return np.stack([-v[..., 1], v[..., 0]], axis=-1)


def meet(a, b, la, lb, side):
    """Where two links of lengths la and lb from a and b meet, on the given side."""
    line = b - a
    d2 = np.sum(line**2, axis=-1)
    along = (d2 + la**2 - lb**2) / 2
    area2 = la**2 * d2 - along**2
    if np.any(area2 <= 0):
        return None
    offset = line * along[..., None] + turned(line) * (side * np.sqrt(area2))[..., None]
    return a + offset / d2[..., None]


def cross(a, b):
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


def evaluate(x, variant):
    """Residuals wanted in [-1, 1] and constraints wanted >= 0, or None."""
    main, stay, rocker, rocker_stay, eye = (x[i : i + 2] for i in range(0, 10, 2))
    angle = np.radians(x[10])
    frame_eye = eye + LENGTH * np.array([np.cos(angle), np.sin(angle)])
    distance = lambda a, b: np.linalg.norm(a - b)
    side = np.sign(cross(eye - rocker, eye - frame_eye))
    eyes = meet(
        np.tile(rocker, (31, 1)), np.tile(frame_eye, (31, 1)),
        distance(eye, rocker), LENGTH - STROKES, side,
    )
    if eyes is None:
        return None
    base, arm = eye - rocker, rocker_stay - rocker
    along, across = base @ arm / (base @ base), cross(base, arm) / (base @ base)
    tips = rocker + along * (eyes - rocker) + across * turned(eyes - rocker)
    side = np.sign(cross(stay - main, stay - rocker_stay))
    stays = meet(
        np.tile(main, (31, 1)), tips, distance(stay, main), distance(stay, rocker_stay), side
    )
    if stays is None:
        return None
    base, arm = rocker_stay - stay, AXLE - stay
    along, across = base @ arm / (base @ base), cross(base, arm) / (base @ base)
    axles = stays + along * (tips - stays) + across * turned(tips - stays)
    # Velocities by the stroke: rocker, then the pair of links, then the axle.
    pull = eyes - frame_eye
    rocker_rate = -(LENGTH - STROKES) / np.sum(pull * turned(eyes - rocker), axis=1)
    tip_velocity = rocker_rate[:, None] * turned(tips - rocker)
    link = stays - tips
    stay_rate = np.sum(link * tip_velocity, axis=1) / np.sum(link * turned(stays - main), axis=1)
    stay_velocity = stay_rate[:, None] * turned(stays - main)
    body_rate = cross(link, stay_velocity - tip_velocity) / np.sum(link**2, axis=1)
    velocity = stay_velocity + body_rate[:, None] * turned(axles - stays)
    z = axles[:, 1] - AXLE[1]
    if np.any(np.diff(z) <= 0):
        return None
    leverage = velocity[:, 1]
    fork = FORK * z / z[-1]
    front = FRONT + fork[:, None] * np.array([-np.cos(HEAD), np.sin(HEAD)])
    ground = front - axles
    base = np.linalg.norm(ground, axis=1)
    t = ground / base[:, None]
    n = turned(t)
    height = np.sum((MASS - axles) * n, axis=1) + WHEEL
    lift = height / base * np.sum(n * velocity, axis=1)
    chain = -axles
    d2 = np.sum(chain**2, axis=1)
    squats = []
    for radius in RADII:
        offset = radius - RING
        u = (chain * np.sqrt(d2 - offset**2)[:, None] - turned(chain) * offset) / d2[:, None]
        pull = np.sum(t * velocity, axis=1) + WHEEL / radius * np.sum(u * velocity, axis=1)
        squats.append(-100 * pull / lift)
    rise = -100 * (np.sum(t * velocity, axis=1) + body_rate * WHEEL) / lift
    at = lambda curve, fraction: np.interp(fraction * z[-1], z, curve)
    chord = leverage[0] + (leverage[-1] - leverage[0]) * z / z[-1]
    inside = (z > 0.1 * z[-1]) & (z < 0.6 * z[-1])
    middle = np.concatenate([[at(squats[6], 0.1)], squats[6][inside], [at(squats[6], 0.6)]])
    residuals = np.array(
        [
            (leverage[0] - 2.95) / 0.03,
            (at(leverage, 0.3) - variant["sag"]) / 0.03,
            (leverage[-1] - 2.10) / 0.03,
            np.max(np.abs(leverage - chord)) / variant["straight"],
            z[-1] - variant["travel"],
            *[(at(squat, 0.3) - 105) / 25 for squat in squats],
            np.ptp(middle) / 20,
            np.max(np.abs(rise - 60)) / 10,
        ]
    )
    bodies = [[main, rocker, frame_eye], [main, stay], [stay, AXLE, rocker_stay],
              [rocker, rocker_stay, eye]]
    gaps = [
        distance(a, b) - 30
        for body in bodies
        for i, a in enumerate(body)
        for b in body[i + 1 :]
    ]
    first, second = stays - tips, rocker - tips
    cosine = np.sum(first * second, axis=1) / (
        np.linalg.norm(first, axis=1) * np.linalg.norm(second, axis=1)
    )
    gaps += [np.cos(np.radians(30)) - np.max(np.abs(cosine)), frame_eye[1] - 40,
             np.min(eyes[:, 1]) - 40]
    return residuals, np.array(gaps)


def main():
    variant = VARIANTS[sys.argv[1]]
    random = np.random.default_rng(int(sys.argv[2]))
    begun, counted = time.perf_counter(), [0]
    scale = HIGH - LOW

    def values(u):
        counted[0] += 1
        found = evaluate(LOW + scale * np.clip(u, 0, 1), variant)
        if found is None:
            return np.full(19, 1e3), np.full(13, -1e3)
        return found

    archive, best, first = [], np.inf, None
    while len(archive) < 20:
        u = random.random(11)
        if evaluate(LOW + scale * u, variant) is None:
            counted[0] += 1
            continue
        result = minimize(
            lambda u: np.mean(values(u)[0] ** 2), u, method="SLSQP", bounds=[(0, 1)] * 11,
            constraints={"type": "ineq",
                         "fun": lambda u: (lambda r, g: np.concatenate([1 - r, 1 + r, g / 5]))(*values(u))},
            options={"maxiter": 100},
        )
        residuals, gaps = values(result.x)
        if np.all(np.abs(residuals) <= 1 + 1e-6) and np.all(gaps >= -1e-6):
            if first is None:
                first = (time.perf_counter() - begun, counted[0])
            best = min(best, float(np.sqrt(np.mean(residuals**2))))
            x = LOW + scale * result.x
            angle = np.radians(x[10])
            frame_eye = x[8:10] + LENGTH * np.array([np.cos(angle), np.sin(angle)])
            pivots = np.concatenate([x[:10], frame_eye]).reshape(6, 2)
            far = lambda other: np.max(np.linalg.norm(pivots - other, axis=1)) > 5
            if all(far(other) for other in archive):
                archive.append(pivots)
    print(f"{first[0]:.4f} {first[1]} {time.perf_counter() - begun:.4f} {counted[0]} {best:.5f}")


main()
