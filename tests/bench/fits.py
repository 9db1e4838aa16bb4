"""The other half of tests/bench-fits: makes the points, times scipy and numpy on them, and prints the table.

Both sides get the same doubles. scipy's least_squares has method="lm", its fastest for these, and starts from the values
that the points were made with; ours has no start. Times are of the fastest of several batches on either side.
"""

import math
import platform
import subprocess
import sys
import time

import numpy as np
from scipy.optimize import least_squares

program, folder = sys.argv[1:3]
rng = np.random.default_rng(20261125)


def around(angles, radius, noise, centre=(40.0, 30.0)):
    r = radius + noise * rng.standard_normal(len(angles))
    return np.column_stack([centre[0] + r * np.cos(angles), centre[1] + r * np.sin(angles)])


def rings(count, each, radius, slope, noise, length=30.0):
    i = np.arange(count)
    turn = (i % each) * 2 * math.pi / each + 0.3 * (i // each)
    z = length * (i // each) / max(count // each - 1, 1) - length / 2
    r = radius + slope * z + noise * rng.standard_normal(count)
    return np.column_stack([r * np.cos(turn) + 0.02 * z + 50, r * np.sin(turn) - 0.01 * z + 20, z])


def slot_points(count, half, radius, noise):
    f, out = np.arange(count) / count * 4, []
    for part, e in zip(f, noise * rng.standard_normal(count)):
        t, r = part % 1, radius + e
        turn = (0.5 - t) * math.pi
        out.append([(-half + 2 * half * t, r), (half + r * math.cos(turn), r * math.sin(turn)), (half - 2 * half * t, -r),
                    (-half - r * math.cos(turn), -r * math.sin(turn))][int(part)])
    return np.array(out) @ np.array([[0.8, 0.6], [-0.6, 0.8]])


def frame(direction):
    w = direction / np.linalg.norm(direction)
    u = np.cross(w, [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    return w, u, np.cross(w, u)


def scipy_circle(p):
    def residuals(q):
        return np.hypot(p[:, 0] - q[0], p[:, 1] - q[1]) - q[2]
    return lambda: least_squares(residuals, [40.0, 30.0, 12.0], method="lm").x[2]


def scipy_sphere(p):
    def residuals(q):
        return np.sqrt(((p - q[:3]) ** 2).sum(axis=1)) - q[3]
    return lambda: least_squares(residuals, [0.0, 0.0, 0.0, 12.0], method="lm").x[3]


def scipy_cylinder(p):
    middle = p.mean(axis=0)
    def residuals(q):
        w = np.array([q[2], q[3], 1.0])
        w /= math.sqrt(w @ w)
        d = p - middle - np.array([q[0], q[1], 0.0])
        t = d @ w
        return np.sqrt((d * d).sum(axis=1) - t * t) - q[4]
    return lambda: least_squares(residuals, [0.0, 0.0, 0.0, 0.0, 10.0], method="lm").x[4]


def scipy_cone(p):
    middle = p.mean(axis=0)
    def residuals(q):
        w = np.array([q[2], q[3], 1.0])
        w /= math.sqrt(w @ w)
        d = p - middle - np.array([q[0], q[1], 0.0])
        t = d @ w
        return np.sqrt((d * d).sum(axis=1) - t * t) * math.cos(q[4]) - t * math.sin(q[4]) - q[5]
    return lambda: least_squares(residuals, [0.0, 0.0, 0.0, 0.0, 0.3, 10.0], method="lm").x[4]


def scipy_slot(p):
    def residuals(q):
        c, s = math.cos(q[2]), math.sin(q[2])
        d = p - q[:2]
        x, y = d @ [c, s], d @ [-s, c]
        return np.hypot(x - np.clip(x, -q[3], q[3]), y) - q[4]
    return lambda: least_squares(residuals, [0.0, 0.0, math.atan2(0.6, 0.8), 10.0, 4.0], method="lm").x[4]


def numpy_plane(p):
    def run():
        d = p - p.mean(axis=0)
        normal = np.linalg.eigh(d.T @ d)[1][:, 0]
        heights = d @ normal
        return math.sqrt((heights * heights).mean())
    return run


def scipy_plane(p):
    def residuals(q):
        n = np.array([q[0], q[1], 1.0])
        return (p @ n - q[2]) / math.sqrt(n @ n)
    def run():
        found = least_squares(residuals, [0.0, 0.0, 0.0], method="lm")
        return math.sqrt(2 * found.cost / len(p))
    return run


def numpy_circle(p):
    def run():
        a = np.column_stack([p, np.ones(len(p))])
        x = np.linalg.lstsq(a, (p * p).sum(axis=1), rcond=None)[0]
        return math.sqrt(x[2] + (x[0] ** 2 + x[1] ** 2) / 4)
    return run


def best(run):
    start = time.perf_counter()
    answer = run()
    repeats = max(1, int(0.02 / max(time.perf_counter() - start, 1e-7)))
    least = math.inf
    for _ in range(10):
        start = time.perf_counter()
        for _ in range(repeats):
            answer = run()
        least = min(least, (time.perf_counter() - start) / repeats)
    return least, answer


def arc(degrees, noise):
    angles = np.radians(np.linspace(0.0, degrees, 10_000, endpoint=degrees < 360))
    return around(angles, 25.0, noise, (100.0, -50.0))


quarter = np.radians([0.0, 90.0, 180.0, 270.0])
ball = rng.standard_normal((100, 3))
ball *= (12.0 + 0.003 * rng.standard_normal((100, 1))) / np.linalg.norm(ball, axis=1, keepdims=True)
grid = np.array([(0.1 * (i % 1000), 0.1 * (i // 1000)) for i in range(1_000_000)])
plate = np.column_stack([grid, 0.1 * grid[:, 0] + 0.003 * rng.standard_normal(1_000_000)])
rug = plate[np.arange(10_000) * 100]
edge = np.column_stack([np.arange(10_000) * 0.01, 0.003 * rng.standard_normal(10_000)])

# Task, points, the other side, the most microseconds allowed, the least ratio allowed.
LS = [
    ("circle2d.4", around(quarter, 12.0, 0.005), scipy_circle, 1.0, 100),
    ("circle2d.100", around(np.linspace(0, 6, 100), 12.0, 0.005), scipy_circle, None, 30),
    ("sphere.100", ball + [1.0, 2.0, 3.0], scipy_sphere, None, 30),
    ("cylinder.8", rings(8, 4, 10.0, 0.0, 0.003), scipy_cylinder, None, 30),
    ("cylinder.100", rings(100, 20, 10.0, 0.0, 0.003), scipy_cylinder, 15.0, 30),
    ("cone.100", rings(100, 20, 10.0, 0.3, 0.003), scipy_cone, None, 30),
    ("slot.100", slot_points(100, 10.0, 4.0, 0.003), scipy_slot, None, 30),
    ("plane.100", rug[:: 100], scipy_plane, None, 30),
]
ZONES = [(f"minimum-zone-circle.{d}", arc(d, 0.004), 50e3) for d in (360, 270, 180, 90, 45, 20, 10)] + [
    ("minimum-circumscribed.360", arc(360, 0.004), 50e3),
    ("maximum-inscribed.360", arc(360, 0.004), 50e3),
    ("straightness.10000", edge, 50e3),
    ("flatness.10000", rug, 50e3),
]


def ours(tasks):
    arguments = []
    for number, (task, points) in enumerate(tasks):
        path = f"{folder}/{number}"
        np.ascontiguousarray(points, dtype="<f8").tofile(path)
        arguments.append(f"{task}={path}")
    lines = subprocess.run([program, *arguments], check=True, capture_output=True, text=True).stdout.splitlines()
    return {name: (float(seconds), float(length)) for name, seconds, length in (line.split() for line in lines)}


def mark(*within):
    return "" if all(within) else "  <- over"


found = ours([(t, p) for t, p, *_ in LS] + [(t, p) for t, p, _ in ZONES] + [("plane.million", plate), ("sum.million", plate), ("lanes.million", plate)])
failed = False
print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}, {time.strftime('%Y-%m-%d')}\n")
print(f"{'least squares':<28} {'ours us':>10} {'limit':>7} {'scipy us':>10} {'ratio':>7} {'limit':>6} {'answers differ by':>18}")
for task, points, other, most, least in LS:
    (mine, a), (theirs, b) = found[task], best(other(points))
    good = (most is None or mine * 1e6 <= most, theirs / mine >= least)
    failed |= not all(good)
    print(f"{task:<28} {mine * 1e6:>10.3f} {most or '':>7} {theirs * 1e6:>10.1f} {theirs / mine:>7.0f} {least:>6} {abs(a - b):>18.1e}{mark(*good)}")
algebraic = best(numpy_circle(LS[0][1]))[0]
print(f"{'circle2d.4, numpy algebraic':<28} {'':>10} {'':>7} {algebraic * 1e6:>10.1f} {algebraic / found['circle2d.4'][0]:>7.0f}")
print(f"\n{'million points':<28} {'fit ms':>10} {'sum ms':>10} {'ratio':>7} {'limit':>6}")
mine, plain = found["plane.million"][0], found["sum.million"][0]
failed |= mine / plain > 4
print(f"{'plane, ours':<28} {mine * 1e3:>10.2f} {plain * 1e3:>10.2f} {mine / plain:>7.1f} {4:>6}{mark(mine / plain <= 4)}")
lanes = found["lanes.million"][0]
print(f"{'  against sums side by side':<28} {mine * 1e3:>10.2f} {lanes * 1e3:>10.2f} {mine / lanes:>7.1f}")
theirs, plain = best(numpy_plane(plate))[0], best(lambda: plate.sum())[0]
print(f"{'plane, numpy':<28} {theirs * 1e3:>10.2f} {plain * 1e3:>10.2f} {theirs / plain:>7.1f}")
print(f"\n{'zones of 10 000 points':<28} {'ms':>10} {'limit':>7}")
for task, _, most in ZONES:
    mine = found[task][0] * 1e6
    failed |= mine > most
    print(f"{task:<28} {mine / 1e3:>10.2f} {most / 1e3:>7.0f}{mark(mine <= most)}")
sys.exit(failed)
