"""Draws reports with known mistakes for the test of the diagnosis: `python3 make.py > reports.json` in this folder.

Written from the page's table of families and the page of the exercise file alone; shares no line and no random generator
with the program that is tested. Only reports in which every mistake can be told are kept: each changes the values, across
what the amounts of the others could take up, by more than 12 standard deviations."""
import json, math, os, random, tomllib
from decimal import Decimal
import model
from model import AX, GEO, Ex, Plate, evaluate, frame_loads, measured, rounded, slips, wrap, written

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.join(HERE, *[os.pardir] * 4)
FOLDERS = ["tests/data/diagnosis/HF-61", "tests/data/diagnosis/HG-62", "tests/data/diagnosis/HM-63",
           "exercises/JP-14", "exercises/PC-21", "exercises/CP-23"]
FAMILIES = ["origin-shift", "mistaken-surface", "opposite-corner", "frame-rotated", "frame-tilted", "part-turned",
            "axes-exchanged", "axis-reversed", "tip-ignored-on-datum", "tip-ignored-on-size", "tip-ignored-on-surface",
            "tip-wrong", "wrong-unit", "temperature", "radius-for-diameter", "deviation-for-value", "nominals-copied",
            "features-exchanged", "wrong-plate", "digits-transposed", "decimal-slipped", "sign-dropped", "gross-error"]
AMOUNTS = {"origin-shift": "amount", "tip-wrong": "amount", "frame-rotated": "angle_deg", "frame-tilted": "angle_deg",
           "temperature": "ppm"}
SLIPS = {"digits-transposed", "decimal-slipped", "sign-dropped"}
TELLING = 12.0
# Of each exercise: clean, of each family, two and three mistakes.
COUNTS = (10, 1, 14, 3)


def exercise(folder):
    with open(os.path.join(ROOT, folder, "exercise.toml"), "rb") as file:
        t = tomllib.load(file)

    def chars(owner):
        keep = {"no", "of", "datum", "along"}
        out = []
        for c in owner.get("characteristic", []):
            kept = {k: v for k, v in c.items() if k in keep}
            if "expanded_uncertainty" in c:
                kept["U"] = c["expanded_uncertainty"]
            out.append(kept)
        return out

    def feature(f):
        drop = {"characteristic", "name", "points"}
        return {**{k: v for k, v in f.items() if k not in drop}, "chars": chars(f)}

    m = t["measurement"]
    return Ex(dict(
        code=t["code"], units=t["units"], decimals=t["decimals"], outline=t["body"]["outline"],
        thickness=t["body"]["thickness"], datums=t["datum_frame"], mistaken=t.get("mistaken_surface", []),
        U=m["expanded_uncertainty"], per_length=m.get("per_length", 0), rep=m.get("repeatability", 0),
        tip=m["tip_diameter"], features=[feature(f) for f in t["feature"]],
        between=[dict(key=b["key"], features=b["features"], chars=chars(b)) for b in t.get("between", [])]))


def plates(folder, ex):
    with open(os.path.join(ROOT, folder, "plates.toml"), "rb") as file:
        t = tomllib.load(file)
    out = []
    for p in t["plate"]:
        refs = {no: (r["value"], 2 * r["U"] / r.get("k", 2)) for no, r in p.get("reference", {}).items()}
        plate = Plate(ex, p["serial"], p.get("planted", {}), refs)
        shop = p.get("shop_uncertainty", 0.0)
        known = [no in refs or p["kind"] == "virtual" or shop for no in ex.no]
        plate.shop = shop if p["kind"] == "physical" else 0.0
        # Orientation between two features follows on virtual plates from angles as well, which the pages do not spell out.
        spelt = p["kind"] == "physical" or not any(c["of"] in GEO for o, c in ex.lines if o[0] == "b")
        if all(known) and spelt:
            out.append(plate)
    return out


def of(ex, i):
    return ex.lines[i][1]["of"]


def run(rng, items, shortest=1):
    if len(items) < shortest:
        return None
    if rng.random() < 0.5:
        return list(items)
    n = rng.randint(shortest, len(items))
    a = rng.randint(0, len(items) - n)
    return items[a:a + n]


def draw(ex, plate, all_plates, family, rng):
    """Parameters of one mistake of a family; None where the exercise has no room for it."""
    mm = 1.0 if ex.units == "mm" else 1 / 25.4
    nos = list(ex.no)
    plain = {
        "origin-shift": lambda: dict(axis=rng.choice("xyz"), amount=rng.gauss(0, 2) * mm),
        "opposite-corner": lambda: dict(axis=rng.choice("xy")),
        "frame-rotated": lambda: dict(angle_deg=rng.gauss(0, 0.5)),
        "frame-tilted": lambda: dict(about=rng.choice("xy"), angle_deg=rng.gauss(0, 0.5)),
        "part-turned": lambda: dict(angle_deg=rng.choice([90, 180, 270])),
        "axis-reversed": lambda: dict(axis=rng.choice("xyz")),
        "tip-ignored-on-datum": lambda: dict(datum=rng.choice(sorted(ex.datums))),
        "tip-wrong": lambda: dict(amount=rng.gauss(0, 1) * mm),
        "temperature": lambda: dict(ppm=max(-300, min(300, rng.gauss(0, 60) * rng.choice([1, 2, 3])))),
        "wrong-unit": lambda: dict(factor=25.4 if ex.units == "inch" else 1 / 25.4),
        "wrong-plate": lambda: dict(serial=rng.choice([q.serial for q in all_plates if q is not plate])),
        "digits-transposed": lambda: dict(item=rng.choice(nos)),
        "decimal-slipped": lambda: dict(item=rng.choice(nos), power=rng.choice([-2, -1, 1, 2])),
        "sign-dropped": lambda: dict(item=rng.choice(nos)),
    }
    if family in plain:
        return plain[family]()
    if family == "mistaken-surface":
        if not ex.mistaken:
            return None
        m = rng.choice(ex.mistaken)
        return dict(datum=m["instead_of"], name=m["name"])
    runs = {
        "radius-for-diameter": ([n for n, i in ex.no.items() if of(ex, i) == "diameter"], 1),
        "deviation-for-value": ([n for n, v in zip(nos, ex.nominal) if v != 0], 1),
        "nominals-copied": (nos, 3),
    }
    if family in runs:
        items = run(rng, *runs[family])
        return items and dict(items=items)
    if family == "features-exchanged":
        kinds = [{(c["of"], c.get("datum")) for c in f["chars"]} for f in ex.features]
        pairs = [(a, b) for a in range(len(kinds)) for b in range(a + 1, len(kinds)) if kinds[a] & kinds[b]]
        if not pairs:
            return None
        a, b = rng.choice(pairs)
        return dict(a=ex.features[a]["key"], b=ex.features[b]["key"])
    if family == "gross-error":
        i = rng.randrange(len(nos))
        u = ex.ulab(i)
        low, high = 10 * u, max(5 * mm, 30 * u)
        size = low * (high / low) ** rng.random()
        return dict(item=nos[i], amount=size if of(ex, i) in GEO or rng.random() < 0.5 else -size)
    return {}


def place_digits(ex, texts, faults, rng):
    """Chooses which two neighbouring digits on one side of the point were exchanged; False where none differ."""
    for f in faults:
        if f["fault"] == "digits-transposed":
            text = texts[ex.no[f["parameters"]["item"]]]
            pairs = [i for i in range(len(text) - 1) if text[i].isdigit() and text[i + 1].isdigit() and text[i] != text[i + 1]]
            if not pairs:
                return False
            f["parameters"]["_i"] = rng.choice(pairs)
    return True


def values(ex, plate, faults, all_plates):
    """What would be written without noise and without rounding, slips of single values left out."""
    m, crossed = measured(ex, plate, faults, all_plates)
    return written(ex, m, crossed, faults)


def turned(ex, i, d):
    o = ex.lines[i][0]
    plan = of(ex, i) == "angle" and o[0] == "f" and ex.features[o[1]]["kind"] in ("line", "slot")
    return wrap(d) if plan else d


def told(ex, plate, faults, texts, all_plates):
    """Whether each mistake changes the report enough, across what the others' amounts could take up."""
    factor = next((f["parameters"]["factor"] for f in faults if f["fault"] == "wrong-unit"), 1.0)
    factor = max(1.0, factor)
    sd = [math.hypot(ex.ulab(i) / 2 * (1.0 if of(ex, i) == "angle" else factor), 10.0 ** -ex.decimals / math.sqrt(12))
          for i in range(len(ex.lines))]
    whole = values(ex, plate, faults, all_plates)
    slipped = [float(t) for t in slips(ex, texts, faults)]
    for place, fault in enumerate(faults):
        rest = faults[:place] + faults[place + 1:]
        if fault["fault"] in SLIPS:
            i = ex.no[fault["parameters"]["item"]]
            if abs(slipped[i] - float(texts[i])) < TELLING * sd[i]:
                return False
            continue
        own = [turned(ex, i, a - b) / s for i, (a, b, s) in enumerate(zip(whole, values(ex, plate, rest, all_plates), sd))]
        taken = []
        for other in rest:
            key = AMOUNTS.get(other["fault"])
            if not key:
                continue
            moved = {**other, "parameters": {**other["parameters"], key: other["parameters"][key] * 1.001 + 1e-9}}
            with_moved = values(ex, plate, [moved if f is other else f for f in faults], all_plates)
            slope = [turned(ex, i, a - b) / s for i, (a, b, s) in enumerate(zip(with_moved, whole, sd))]
            for t in taken:
                along = sum(a * b for a, b in zip(slope, t))
                slope = [a - along * b for a, b in zip(slope, t)]
            length = math.sqrt(sum(a * a for a in slope))
            if length > 0:
                taken.append([a / length for a in slope])
        for t in taken:
            along = sum(a * b for a, b in zip(own, t))
            own = [a - along * b for a, b in zip(own, t)]
        if math.sqrt(sum(a * a for a in own)) < TELLING:
            return False
    return True


def within(ex, plate, fault, all_plates):
    """The amount whose largest effect is twice U of the value that it moves."""
    key = AMOUNTS.get(fault["fault"])
    if not key:
        return None
    a, b = (values(ex, plate, f, all_plates) for f in ([fault], []))
    largest = max(abs(turned(ex, i, x - y)) / ex.ulab(i) for i, (x, y) in enumerate(zip(a, b)))
    return 2 * abs(fault["parameters"][key]) / largest


def noisy(ex, plate, faults, all_plates, rng):
    """Written texts without slips, with the noise of a careful pair: the touches' through the frame, each value's own, and
    what the reference may be off by."""
    source = plate
    for f in faults:
        if f["fault"] == "wrong-plate":
            source = next(q for q in all_plates if q.serial == f["parameters"]["serial"])
    if not hasattr(source, "loads"):
        source.loads = frame_loads(ex, source)
    m, crossed = measured(ex, plate, faults, all_plates)
    n = len(m)
    shared, variance = [0.0] * n, [0.0] * n
    for load in source.loads:
        z = rng.gauss(0, 1)
        for i in range(n):
            shared[i] += z * load[i]
            variance[i] += load[i] ** 2
    for i, (_, c) in enumerate(ex.lines):
        own = math.sqrt(max(0.0, (ex.ulab(i) / 2) ** 2 - variance[i])) * rng.gauss(0, 1)
        u_ref = source.refs[c["no"]][1] if c["no"] in source.refs else source.shop
        off = shared[i] + own + u_ref / 2 * rng.gauss(0, 1)
        m[i] += off
        if c["of"] in GEO:
            m[i] = max(0.0, m[i])
        if crossed[i] is not None:
            crossed[i] += off
    return [rounded(x, ex.decimals) for x in written(ex, m, crossed, faults)]


def report(ex, all_plates, families, rng):
    for _ in range(400):
        plate = rng.choice(all_plates)
        drawn = [(f, draw(ex, plate, all_plates, f, rng)) for f in families]
        if any(p is None for _, p in drawn):
            continue
        faults = [dict(fault=f, parameters=p) for f, p in drawn]
        spoilt = [f["parameters"]["item"] for f in faults if "item" in f["parameters"]]
        texts = noisy(ex, plate, faults, all_plates, rng)
        if len(set(spoilt)) < len(spoilt) or not place_digits(ex, texts, faults, rng):
            continue
        if not told(ex, plate, faults, texts, all_plates):
            continue
        final = slips(ex, texts, faults)
        truth = []
        for f in faults:
            shown = dict(fault=f["fault"], parameters={k: v for k, v in f["parameters"].items() if k != "_i"})
            tolerance = within(ex, plate, f, all_plates)
            if tolerance:
                shown["within"] = float(f"{tolerance:.3g}")
            truth.append(shown)
        return dict(serial=plate.serial, faults=truth, values=";".join(final))
    return None


def main():
    exercises = []
    for folder in FOLDERS:
        ex = exercise(folder)
        known = plates(folder, ex)
        rng = random.Random(f"{ex.code} independent 1")
        clean, single, two, three = COUNTS
        wanted = [[]] * clean + [[f] for f in FAMILIES for _ in range(single)]
        wanted += [rng.sample(FAMILIES, 2) for _ in range(two)] + [rng.sample(FAMILIES, 3) for _ in range(three)]
        reports = []
        for families in wanted:
            found = report(ex, known, families, rng)
            while found is None and len(families) > 1:
                found = report(ex, known, rng.sample(FAMILIES, len(families)), rng)
            if found:
                reports.append(json.dumps(found, ensure_ascii=False))
        head = json.dumps(dict(exercise=folder, numbers=";".join(ex.no)))[:-1]
        exercises.append(head + ', "reports": [\n' + ",\n".join(reports) + "\n]}")
    print("[" + ",\n".join(exercises) + "]")


if __name__ == "__main__":
    main()
