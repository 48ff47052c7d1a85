"""Recomputes the main comparison of this archive from its tables, with scipy, and compares the outcome with
findings.json. Nothing of Overwinter is used. Run it in the unpacked archive:

    python recompute.py            (or: python recompute.py FOLDER)

What it does, in order:
1. every file has the SHA-256 that datapackage.json says;
2. the journal's chain of hashes holds, and ends at the head on which the findings rest;
3. each set by itself: number, mean, median, standard deviation, Student's interval of the mean;
4. the comparison that decides: each condition against the reference, counted three ways where pieces were
   lost or carried at least their load, with simultaneous intervals, and the verdicts.

The formulas, from their sources:
- ratios of means, Fieller (1954); simultaneous, each group its own spread, with the correlations of the
  estimated ratios plugged in and Satterthwaite degrees of freedom: Dilba, Bretz, Guiard and Hothorn (2004),
  Hasler and Hothorn (2008). Pooled: one variance, common degrees of freedom (Dunnett 1955 for differences).
- with several holders in every set the means of the holders are compared, their variance pooled; where only some
  sets have several, those rest on their holders and the others on their pieces.
- changes of mass and dimension: differences, never narrower than the instruments allow.
- adjusted for a reading from before exposure: one slope common to all sets, uncorrelated critical values (Sidak).
- the critical value: the double integral of Dunnett (1955), trapezium rule and Gauss-Legendre.

Tolerances: 1e-9 relative for numbers, means and spreads; 1e-6 relative for what rests on the integral (both sides
carry it to about 1e-10); 1e-12 in any unit is rounding. Ends with 0 when all agrees, 1 when something differs, 2
when something cannot be read.
"""
import csv
import hashlib
import json
import math
import sys
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy import optimize, special, stats

EXACT, INTEGRAL = 1e-9, 1e-6
# A change in % that is nothing is not 0 on every computer: 100 times the last digit of two sizes.
ROUNDING = 1e-12
csv.field_size_limit(2 ** 28)


class Refused(Exception):
    """No interval can be had."""


# Reading.

def rows(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def number(cell):
    return float(cell) if cell else None


def sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


class Report:
    def __init__(self):
        self.compared, self.differs = 0, []

    def same(self, what, here, there, tolerance=None):
        self.compared += 1
        if tolerance is None or here is None or there is None:
            good = here == there
        else:
            apart = abs(here - there)
            good = apart <= max(tolerance * max(abs(here), abs(there)), ROUNDING)
        if not good:
            self.differs.append(f"{what}: {here} here, {there} in findings.json")


# 1 and 2: the files and the chain.

def files(folder, report):
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    for resource in package["resources"]:
        path = folder / resource["path"]
        report.same(f"{resource['path']}: SHA-256", "sha256:" + sha256(path), resource["hash"])
    return package


def chain(folder, findings, report):
    path = folder / "data" / "journal.csv"
    if not path.exists():
        return "no journal in this archive"
    lines = rows(path)
    if not lines:
        report.same("journal: entries", 0, findings["study"]["entries"])
        return "no entries"
    name = lines[0]["chain"]
    before = hashlib.sha256(b"overwinter journal 1\n" + name.encode()).digest()
    read = 0
    for place, line in enumerate(lines, 1):
        report.same(f"journal: place {place}", int(line["seq"]), place)
        content = bytes.fromhex(line["content_sha256"])
        if line["body"]:
            read += 1
            found = hashlib.sha256(bytes.fromhex(line["salt"]) + line["body"].encode()).hexdigest()
            report.same(f"journal: body of entry {place}", found, line["content_sha256"])
        whole = hashlib.sha256(before)
        for member in ("chain", "seq", "entry", "kind", "version", "actor", "device", "device_seq",
                       "taken_at", "received_at", "time_zone"):
            data = line[member].encode()
            whole.update(len(data).to_bytes(8, "big"))
            whole.update(data)
        whole.update(content)
        report.same(f"journal: hash of entry {place}", whole.hexdigest(), line["hash"])
        before = whole.digest()
    report.same("journal: entries", len(lines), findings["study"]["entries"])
    report.same("journal: head", before.hex(), findings["study"]["head"])
    return f"{len(lines)} entries, {read} of them with their body"


# The pieces.

# What is read off a test besides its load: the column, and how a piece counts that did not break or could
# not carry load.
READ = {
    "modulus": "modulus_mpa", "yield_stress": "yield_stress_mpa", "extension_at_max": "extension_at_max_mm",
    "extension_at_break": "extension_at_break_mm", "strain_at_break": "strain_at_break_percent",
    "energy_to_max": "energy_to_max_j", "energy_to_break": "energy_to_break_j",
    "impact_energy": "impact_energy_kj_m2",
}
BEFORE_THE_MAXIMUM = {"modulus", "yield_stress"}
ZERO_AT_TOTAL_LOSS = {"yield_stress", "energy_to_max", "energy_to_break", "impact_energy"}


def is_change(response):
    return response.split(":")[0] in ("mass_change", "length_change")


def is_known(response):
    return is_change(response) or response in ("max_load", "strength") or response in READ


class Study:
    def __init__(self, folder):
        self.findings = json.loads((folder / "findings.json").read_text(encoding="utf-8"))
        wanted = self.findings["study"]["plan_sha256"]
        plans = [path for path in sorted(folder.glob("plan*.json")) if sha256(path) == wanted]
        if not plans:
            raise FileNotFoundError("no plan here has the hash that findings.json names")
        self.plan = json.loads(plans[0].read_text(encoding="utf-8"))
        self.pieces = rows(folder / "data" / "specimens.csv")
        self.control = next((c for c in self.plan["conditions"] if c["is_storage_control"]), None)

    def section(self, piece):
        """The area over which a load is a stress, mm2."""
        shape, method = self.plan["form"]["shape"], self.plan["form"].get("method") or {}
        whens = ("after", "before") if method.get("sizes_at") == "before_test" else ("before",)
        of = lambda name: next((size for size in (number(piece.get(f"{name}_{when}_mm", "")) for when in whens)
                                if size is not None), None)
        if shape == "load_only":
            return None
        if method.get("kind") == "bending" and method.get("span_mm"):
            b, h = of("width"), of("thickness")
            return 2 * b * h * h / (3 * method["span_mm"]) if b and h else None
        if shape in ("rectangular", "dumbbell"):
            sides = (of("width"), of("thickness"))
            return sides[0] * sides[1] if all(sides) else None
        if shape == "round":
            return math.pi * of("diameter") ** 2 / 4 if of("diameter") else None
        return None

    def change(self, piece, quantity):
        """The change of a reading, in %, and what the instruments resolve of it."""
        name, unit = ("mass", "g") if quantity == "mass" else (quantity.replace(" ", "_"), "mm")
        if piece["recovery"] == "fragments" or piece["fate"] == "in_error":
            return None
        before, after = (number(piece[f"{name}_{when}_{unit}"]) for when in ("before", "after"))
        states = {piece[f"{name}_state_{when}"] for when in ("before", "after")}
        if before is None or after is None or before <= 0 or states != {self.plan["reference_state"]}:
            return None
        return (after - before) / before * 100, number(piece[f"{name}_change_u_percent"])

    def value(self, piece, response):
        """(value, kind, what the instruments resolve) or None."""
        if not is_change(response):
            kind = piece["fate"]
            if kind not in ("valid", "lower_bound", "total_loss"):
                return None
            if response in READ:
                return self.read(piece, response, kind)
            load = 0.0 if kind == "total_loss" else number(piece["max_load_n"])
            if response == "strength":
                first = number(piece.get("strength_mpa", ""))
                if kind == "valid" and first is not None:
                    return first, kind, None
                area = self.section(piece)
                load = load / area if load is not None and area and area > 0 else None
            return None if load is None else (load, kind, None)
        quantity = "mass" if response == "mass_change" else response.split(":", 1)[1]
        found = self.change(piece, quantity)
        return found and (found[0], "valid", found[1])

    def read(self, piece, response, kind):
        value = number(piece.get(READ[response], ""))
        if kind == "total_loss":
            return (0.0, kind, None) if response in ZERO_AT_TOTAL_LOSS else None
        if kind == "lower_bound" and response in BEFORE_THE_MAXIMUM:
            kind = "valid"
        return None if value is None else (value, kind, None)

    def covariate(self, piece, quantity):
        if quantity is None:
            return None
        name, unit = ("mass", "g") if quantity == "mass" else (quantity.split(":", 1)[1], "mm")
        return number(piece.get(f"{name.replace(' ', '_')}_before_{unit}", ""))

    def group(self, role, condition=None, days=None):
        wanted = lambda p: (p["role"] == role and (condition is None or p["condition"] == condition)
                            and (days is None or p["stage_days"] == str(days)))
        return [p for p in self.pieces if wanted(p)]


class Arm:
    """The values of one set."""

    def __init__(self, study, pieces, response, counting, is_exposed, covariate=None):
        self.entries, self.special, self.floor = [], {"lower_bound": 0, "total_loss": 0, "lost": 0}, None
        for piece in pieces:
            found = study.value(piece, response)
            if not found:
                continue
            value, kind, floor = found
            if kind != "valid":
                self.special[kind] += 1
            if counting != "valid_only" or kind == "valid":
                self.entries.append((piece["holder"], value, study.covariate(piece, covariate)))
            self.floor = max((f for f in (self.floor, floor) if f is not None), default=None)
        if not is_change(response) and is_exposed:
            self.count_lost(study, pieces, counting, covariate)

    def count_lost(self, study, pieces, counting, covariate):
        """Pieces not found, less nameless ones found in the same holder."""
        gone = [p for p in pieces if p["fate"] == "lost" and p["nameless"] != "yes"]
        for holder in sorted({p["holder"] for p in gone}):
            here = [p for p in gone if p["holder"] == holder]
            nameless = sum(p["nameless"] == "yes" and p["holder"] == holder for p in pieces)
            left = max(0, len(here) - nameless)
            self.special["lost"] += left
            if counting == "lost_as_zero":
                self.entries += [(holder, 0.0, study.covariate(p, covariate)) for p in here[:left]]

    @property
    def values(self):
        return [value for _, value, _ in self.entries]

    def on_holders(self):
        names = {holder for holder, _, _ in self.entries}
        return "" not in names and len(names) >= 2

    def units(self):
        return [y for y, _ in self.units_with(lambda entry: (entry[1], 0.0))]

    def units_with(self, take):
        taken = [(entry[0], *take(entry)) for entry in self.entries if take(entry) is not None]
        if not self.on_holders():
            return [(y, x) for _, y, x in taken]
        names = sorted({holder for holder, _, _ in taken})
        mean = lambda name, at: float(np.mean([t[at] for t in taken if t[0] == name]))
        return [(mean(name, 1), mean(name, 2)) for name in names]

    def adjusted_units(self):
        return self.units_with(lambda e: None if e[2] is None else (e[1], e[2]))

    def mean(self):
        return float(np.mean(self.units())) if self.entries else None

    def can_be_compared(self):
        values = self.values
        if len(values) < 2:
            return False
        return not (self.special["total_loss"] and not any(values))


# The largest |t| of several comparisons with one reference.

def outside(c, lambdas, df):
    """P(max |T_j| > c), T_j = (l_j Z0 + r_j Z_j) / S, S^2 = chi2(df)/df."""
    lam = np.asarray(lambdas, float)[:, None]
    r = np.sqrt(np.maximum(1 - lam ** 2, 1e-300))
    z = np.linspace(-9, 9, 721)
    density = stats.norm.pdf(z) * (z[1] - z[0])

    def inner(s):
        boxes = special.ndtr((c * s + lam * z) / r) - special.ndtr((-c * s + lam * z) / r)
        return float(np.sum(density * np.prod(boxes, axis=0)))

    low, high = np.sqrt(stats.chi2.ppf([1e-15, 1 - 1e-15], df) / df)
    nodes, weights = np.polynomial.legendre.leggauss(160)
    s = low + (high - low) * (nodes + 1) / 2
    f = stats.chi2.pdf(df * s * s, df) * 2 * df * s
    return 1 - sum(w * d * inner(at) for w, d, at in zip(weights, f, s)) * (high - low) / 2


@lru_cache(maxsize=None)
def critical(lambdas, df, confidence):
    single = float(stats.t.ppf(0.5 + confidence / 2, df))
    if len(lambdas) == 1:
        return single
    most = float(stats.t.ppf(1 - (1 - confidence) / 2 / len(lambdas), df))
    return float(optimize.brentq(lambda c: outside(c, lambdas, df) - (1 - confidence), single * 0.99,
                                 most * 1.01, xtol=1e-12, rtol=1e-13))


def fieller(mean, reference, v, v0, both, c):
    """The bounded set of ratios, or None."""
    a = reference ** 2 - c * c * v0
    b = -2 * (mean * reference - c * c * both)
    k = mean ** 2 - c * c * v
    if a <= 0 or b * b - 4 * a * k < 0:
        return None
    root = math.sqrt(b * b - 4 * a * k)
    return (-b - root) / (2 * a), (-b + root) / (2 * a)


# A family: groups as (number, mean, variance of the mean, degrees of freedom); the first is the reference.

def summaries(arms, spreads):
    """Groups, and whether their variance is common."""
    on_holders = [arm.on_holders() for arm in arms]
    if any(on_holders) and not all(on_holders):
        means = [arm.units() for arm in arms]
        between = [m for m, is_so in zip(means, on_holders) if is_so]
        df = sum(len(m) - 1 for m in between)
        common = sum((len(m) - 1) * np.var(m, ddof=1) for m in between) / df
        return [(np.mean(m), common / len(m) if is_so else np.var(m, ddof=1) / len(m),
                 df if is_so else len(m) - 1) for m, is_so in zip(means, on_holders)], None
    units = [arm.units() for arm in arms]
    if all(on_holders) or spreads == "pooled":
        df = sum(len(u) - 1 for u in units)
        common = sum((len(u) - 1) * np.var(u, ddof=1) for u in units if len(u) > 1) / df
        return [(np.mean(u), common / len(u), df) for u in units], df
    return [(np.mean(u), np.var(u, ddof=1) / len(u), len(u) - 1) for u in units], None


def plain(arms, spreads, confidence, changes):
    """A dict for each group after the first, or None where there is no interval."""
    groups, common_df = summaries(arms, spreads)
    m0, v0, df0 = groups[0]
    contrasts = []
    for mean, v, df in groups[1:]:
        weight = 1.0 if changes else mean / m0 if m0 else None
        total = None if weight is None else v + weight ** 2 * v0
        if not total or total <= 0:
            contrasts.append(None)
            continue
        share = v / total
        own = common_df or 1 / (share ** 2 / df + (1 - share) ** 2 / df0)
        contrasts.append((mean, v, weight, total, own, abs(weight) * math.sqrt(v0 / total)))
    lambdas = tuple(0.0 if c is None else min(1.0, c[5]) for c in contrasts)
    out = []
    for found in contrasts:
        if found is None:
            out.append(None)
            continue
        mean, v, weight, total, df, _ = found
        c = critical(lambdas, float(df), confidence)
        if changes:
            out.append({"difference": mean - m0, "se": math.sqrt(total), "df": df, "critical": c})
        else:
            out.append({"ratio": weight, "df": df, "critical": c, "set": fieller(mean, m0, v, v0, 0.0, c)})
    return out


def adjusted(arms, spreads, confidence, changes):
    """The same after a common slope was taken out."""
    units = [arm.adjusted_units() for arm in arms]
    if len({arm.on_holders() for arm in arms}) > 1:
        raise Refused("some sets rest on holders and some on pieces")
    pooled = spreads == "pooled" or arms[0].on_holders()
    if any(len(u) < (1 if pooled else 3) for u in units):
        raise Refused("too few pieces with the reading")
    ys, xs = [np.array([u[0] for u in g]) for g in units], [np.array([u[1] for u in g]) for g in units]
    extents = [float(np.sum((x - x.mean()) ** 2)) for x in xs]
    extent = sum(extents)
    if extent <= (1e-12 * max(float(np.max(np.abs(x))) for x in xs)) ** 2:
        raise Refused("the reading does not differ between pieces")
    slope = sum(float(np.sum((x - x.mean()) * (y - y.mean()))) for x, y in zip(xs, ys)) / extent
    left = [float(np.sum((y - y.mean() - slope * (x - x.mean())) ** 2)) for x, y in zip(xs, ys)]
    count = sum(len(x) for x in xs)
    common_df = count - len(xs) - 1
    centre = float(np.concatenate(xs).mean())
    parts = []
    for x, y, own_extent, rest in zip(xs, ys, extents, left):
        own = len(x) - 1 - own_extent / extent
        variance, df = (sum(left) / common_df, common_df) if pooled else (rest / own, own)
        off = float(x.mean()) - centre
        parts.append((len(x), float(y.mean()) - slope * off, off, own_extent, variance, df))

    def contrast(i, rho):
        """Variance of mean_i - rho mean_0, or of the slope (i None), with degrees of freedom."""
        way = 1.0 if i is None else parts[i][2] - rho * parts[0][2]
        total = spread = 0.0
        for index, (n, _, _, own, variance, df) in enumerate(parts):
            factor = way * way * own / extent ** 2
            if i is not None:
                factor += 1 / n if index == i else rho * rho / n if index == 0 else 0
            total += factor * variance
            spread += (factor * variance) ** 2 / df
        return total, common_df if pooled else total ** 2 / spread

    lambdas = (0.0,) * (len(parts) - 1)
    of_slope, _ = contrast(None, 0)
    n0, m0, off0, _, s0, _ = parts[0]
    out = []
    for i, (n, mean, off, _, s, _) in enumerate(parts[1:], 1):
        rho = 1.0 if changes else mean / m0
        total, df = contrast(i, rho)
        c = critical(lambdas, float(df), confidence)
        if changes:
            out.append({"difference": mean - m0, "se": math.sqrt(total), "df": df, "critical": c})
        else:
            ends = fieller(mean, m0, s / n + off ** 2 * of_slope, s0 / n0 + off0 ** 2 * of_slope,
                           off * off0 * of_slope, c)
            out.append({"ratio": rho, "df": df, "critical": c, "set": ends})
    return out


def family(study, response, counting, covariate, days, against):
    """(condition, its arm, reference's arm, what was found or None, effect or None) for each condition."""
    plan = study.plan
    at = [stage["days"] for stage in plan["stages"]].index(days)
    wanted = [c for c in plan["conditions"] if not c["is_storage_control"] and len(c["replicates"]) > at
              and c["replicates"][at] > 0]
    if against == "storage_control":
        kept = study.group("storage_control", study.control["name"], days)
    else:
        kept = study.group(against)
    reference = Arm(study, kept, response, counting, False, covariate)
    arms = [Arm(study, study.group("exposed", c["name"], days), response, counting, True, covariate)
            for c in wanted]
    able = [arm for arm in arms if arm.can_be_compared()] if len(reference.values) >= 2 else []
    changes = is_change(response)
    confidence = plan["confidence_percent"] / 100
    found = []
    if able:
        try:
            found = adjusted([reference, *able], plan["spreads"], confidence, changes) if covariate \
                else None
        except Refused:
            found = None
        if found is None:
            found = plain([reference, *able], plan["spreads"], confidence, changes)
    by_arm = {id(arm): result for arm, result in zip(able, found)}
    out = []
    for condition, arm in zip(wanted, arms):
        result = by_arm.get(id(arm))
        out.append((condition["name"], arm, reference, result, effect(arm, reference, result, changes)))
    return out


def effect(arm, reference, result, changes):
    """(estimate, lower, upper) in %, or None."""
    floors = [f for f in (arm.floor, reference.floor) if f is not None]
    floor = max(floors, default=0.0)
    if result is None:
        if changes and floors and arm.can_be_compared() and len(reference.values) >= 2:
            middle = arm.mean() - reference.mean()
            return middle, middle - floor, middle + floor
        return None
    if changes:
        half = max(result["critical"] * result["se"], floor)
        return result["difference"], result["difference"] - half, result["difference"] + half
    ends = result["set"]
    return ends and tuple((x - 1) * 100 for x in (result["ratio"], *ends))


def verdict(change, margin):
    _, lower, upper = change
    if lower > margin or upper < -margin:
        return "changed_beyond"
    inside = -margin < lower and upper < margin
    if lower > 0 or upper < 0:
        return "changed_within" if inside else "changed"
    return "unchanged" if inside else "not_settled"


def word(name, change):
    if name in ("changed_beyond", "changed"):
        return "less" if change[0] < 0 else "more"
    return name


def final(countings):
    """The verdict that stands: the same word in every counting, or not settled."""
    pairs = [("lost_excluded", "lost_as_zero"), ("valid_only", "lost_excluded"),
             ("valid_only", "lost_as_zero")]
    known = {k: v for k, v in countings.items() if v is not None}
    both = [(known[a], known[b]) for a, b in pairs if a in known and b in known]
    if any(word(*a) != word(*b) for a, b in both):
        return "not_settled"
    if any(a[0] != b[0] for a, b in both):
        return "changed"
    first = countings["lost_excluded"]
    return first and first[0]


# 3 and 4: the comparison with findings.json.

def sets(study, report):
    confidence = study.plan["confidence_percent"] / 100
    for told in study.findings["groups"]:
        response = told["response"]
        if not is_known(response):
            raise ValueError(f"this script does not know the response {response}")
        days, name = told.get("stage_days"), told["name"]
        if told["set"] == "cell":
            role = "storage_control" if study.control and study.control["name"] == name else "exposed"
            pieces = study.group(role, name, days)
        else:
            pieces = study.group(told["set"])
        values = Arm(study, pieces, response, "lost_excluded", False).values
        what = f"{name}, {response}" + (f", {days} days" if days else "")
        report.same(f"{what}: n", len(values), told["n"])
        if len(values) != told["n"] or len(values) == 0:
            continue
        report.same(f"{what}: mean", float(np.mean(values)), told["mean"], EXACT)
        report.same(f"{what}: median", float(np.median(values)), told["median"], EXACT)
        if len(values) > 1:
            sd = float(np.std(values, ddof=1))
            scale = max(abs(v) for v in values)
            if sd > 1e-12 * scale:
                report.same(f"{what}: sd", sd, told["sd"], 1e-7)


def primary(study, report):
    told = study.findings["primary"]
    if told is None:
        return ["no primary comparison yet"]
    plan, response = study.plan, study.plan["primary"]
    if not is_known(response):
        raise ValueError(f"this script does not know the response {response}")
    of = told["family"]
    report.same("primary: response", response, of["response"])
    report.same("primary: stage", plan["primary_stage_days"], of["stage_days"])
    own = response.replace("mass_change", "mass").replace("length_change:", "length:")
    covariate = None if plan["covariate"] in ("none", own) else plan["covariate"]
    days, margin = plan["primary_stage_days"], plan["margin_percent"]
    shown = {c: family(study, response, c, covariate, days, of["against"])
             for c in ("lost_excluded", "valid_only", "lost_as_zero")}
    lines = []
    for at, (name, arm, reference, result, change) in enumerate(shown["lost_excluded"]):
        member, judged = of["members"][at], told["judged"][at]
        report.same(f"{name}: place", name, member["name"])
        for key, side in (("exposed", arm), ("reference", reference)):
            report.same(f"{name}: {key} pieces", len(side.values), member[key]["pieces"])
            report.same(f"{name}: {key} mean", side.mean(), member[key]["mean"], EXACT)
        numbers(name, result, member, report)
        ends(name, change, member["effect"], report)
        is_special = any(arm.special.values()) or any(reference.special.values())
        countings = {}
        for counted in judged["countings"] if is_special else judged["countings"][:1]:
            here = shown[counted["counting"]][at]
            what = f"{name}, {counted['counting']}"
            report.same(f"{what}: pieces", len(here[1].values), counted["pieces"])
            ends(what, here[4], counted["effect"], report)
            countings[counted["counting"]] = here[4] and (verdict(here[4], margin), here[4])
            report.same(f"{what}: verdict", here[4] and verdict(here[4], margin), counted["verdict"])
        stands = final(countings)
        report.same(f"{name}: verdict", stands, judged["verdict"])
        shown_as = "no interval" if change is None else \
            f"{change[0]:+.2f} % ({change[1]:+.2f} to {change[2]:+.2f})"
        lines.append(f"{name}: {shown_as}; {(stands or 'no verdict').replace('_', ' ')}")
    report.same("primary: conditions", len(lines), len(of["members"]))
    return lines


def numbers(name, result, member, report):
    key = "difference" if result and "difference" in result else "ratio"
    told = member[key]
    if result is None or told is None:
        # A refused ratio may still have a difference; what counts is the effect.
        return
    report.same(f"{name}: {key}", result[key], told[key], EXACT if key == "ratio" else 1e-7)
    report.same(f"{name}: degrees of freedom", float(result["df"]), told["df"], INTEGRAL)
    report.same(f"{name}: critical value", result["critical"], told["critical"], INTEGRAL)


def ends(what, here, there, report):
    if here is None or there is None:
        report.same(f"{what}: interval", here is None, there is None)
        return
    for value, key in zip(here, ("estimate_percent", "lower_percent", "upper_percent")):
        # In % of the reference: 1e-6 of a hundred.
        good = abs(value - there[key]) <= INTEGRAL * max(abs(value), 100.0)
        report.same(f"{what}: {key}", there[key] if good else value, there[key])


def main():
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent
    report = Report()
    try:
        package = files(folder, report)
        study = Study(folder)
        print(package["title"])
        print("Journal:", chain(folder, study.findings, report))
        sets(study, report)
        for line in primary(study, report):
            print(" ", line)
    except (OSError, ValueError, KeyError, IndexError) as problem:
        print(f"This archive cannot be recomputed: {problem!r}", file=sys.stderr)
        return 2
    for line in report.differs:
        print("DIFFERS", line)
    print(f"{report.compared} things compared, {len(report.differs)} differ.")
    return 1 if report.differs else 0


if __name__ == "__main__":
    sys.exit(main())
