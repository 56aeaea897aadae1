#!/usr/bin/python3
"""Runs pinlash over the harsh photos and counts refused, right and wrong against the truth.

    tally.py --pinlash PROGRAM [--work FOLDER] [--kept]

--kept uses the lines of the last run for photos they hold. Writes harsh.csv and wrong.csv beside this file,
or to FOLDER/tables for another draw.
A length is right inside its 95 % interval, within_2 inside twice of it, else wrong; a photo is what the
worst of its lengths is.
"""
import argparse, collections, csv, json, math, os, subprocess, sys
sys.dont_write_bytecode = True
import scenes as S

LENGTHS = ("bore_diameter", "pin_diameter", "clearance", "play", "offset", "wear_depth_bore", "wear_depth_pin", "roundness_bore", "roundness_pin")
VERDICTS = ("right", "within_2", "wrong")

def upper(k, n, miss=0.05):
    """Clopper and Pearson's one-sided 95 % upper bound of a share of which k of n were seen."""
    if n == 0 or k == n: return 1.0
    def at_most(p): return sum(math.exp(math.lgamma(n+1) - math.lgamma(i+1) - math.lgamma(n-i+1) + i*math.log(p) + (n-i)*math.log1p(-p)) for i in range(k + 1))
    lo, hi = 0.0, 1.0
    for _ in range(60):
        p = (lo + hi)/2
        if p in (0, 1) or at_most(p) < miss: hi = p
        else: lo = p
    return hi

def run(program, work, names, division):
    """The lines of `pinlash joint` for photos of one division."""
    r = subprocess.run([program, "joint", "--json", "--division", f"{division}mm", *(f"{n}.jpg" for n in names)], cwd=work, capture_output=True, text=True)
    lines = [json.loads(l) for l in r.stdout.splitlines()]
    if r.returncode not in (0, 3) or len(lines) != len(names): raise SystemExit(f"status {r.returncode}, {len(lines)} lines of {len(names)}: {r.stderr[-2000:]}")
    for l in lines: l.pop("profile", None)
    return dict(zip(names, lines))

def judge(q, want):
    """Verdict of a length and its error in half widths of its interval."""
    half = (q["upper"] - q["value"]) if want > q["value"] else (q["value"] - q["lower"])
    off = abs(q["value"] - want)/half if half > 0 else (0.0 if q["value"] == want else math.inf)
    return ("right" if off <= 1 else "within_2" if off <= 2 else "wrong"), off

def failed(line):
    c = [f"{c['name']} {c['value']:.3g}/{c['limit']:.3g}" for c in line.get("checks", []) if not c["ok"]]
    return "; ".join(c)

def main():
    a = argparse.ArgumentParser(); a.add_argument("--pinlash", default="pinlash"); a.add_argument("--work", default=os.path.join(S.HERE, "renders")); a.add_argument("--kept", action="store_true"); a = a.parse_args()
    work = os.path.abspath(a.work); tables = S.tables(work); photos = json.load(open(f"{work}/photos.json")); truth = {t["name"]: t for t in json.load(open(f"{tables}/truth.json"))}
    kept = f"{work}/lines.json"; lines = json.load(open(kept)) if a.kept and os.path.exists(kept) else {}
    by = collections.defaultdict(list)
    for n, p in photos.items():
        if n not in lines: by[truth[p["scene"]]["division"]].append(n)
    for d, names in by.items():
        for i in range(0, len(names), 40):
            lines.update(run(os.path.abspath(a.pinlash) if "/" in a.pinlash else a.pinlash, work, names[i:i+40], d)); json.dump(lines, open(kept, "w"))

    cells = collections.defaultdict(collections.Counter); total = collections.Counter(); lengths = collections.defaultdict(collections.Counter); wrongs = []; good = collections.Counter(); lost = []
    for n, p in photos.items():
        l, t = lines[n], truth[p["scene"]]
        cell = cells[p["kind"], "+".join(p["effects"]), "+".join(p["levels"]) if p["effects"] != ["none"] else ""]
        cell["photos"] += 1; total["photos"] += 1; good["photos"] += p["good"]
        if "refused" in l:
            code = l["refused"]["code"]; cell["refused"] += 1; cell[code, ] += 1; total["refused"] += 1; total[code, ] += 1
            if p["good"]: good["refused"] += 1; lost.append((n, code, failed(l), l["refused"]["message"]))
            continue
        worst = "right"
        t = t | {f"roundness_{r}": t[f"wear_depth_{r}"] for r in ("bore", "pin")}   # round but for their wear
        for f in LENGTHS:
            q = l["results"][f]; v, off = judge(q, t[f]); lengths[f][v] += 1
            worst = max(worst, v, key=VERDICTS.index)
            if v == "wrong": wrongs.append((n, f, t[f], q["value"], q["lower"], q["upper"], off, (q["value"] - t[f])/p["mm_per_px"], l))
        cell[worst] += 1; total[worst] += 1; good[worst] += p["good"]
    codes = lambda c: " ".join(f"{k[0]}:{v}" for k, v in sorted(c.items(), key=str) if isinstance(k, tuple))
    n, w, m = total["photos"], total["wrong"], total["photos"] - total["refused"]
    head = ["harsh photos of rendered joints, counted by: scenes.py && camera.py && tally.py --pinlash PROGRAM",
        f"photos {n}: refused {total['refused']} ({codes(total)}), right {total['right']}, within_2 {total['within_2']}, wrong {w}",
        f"wrong {100*w/n:.2f} % of all, 95 % upper bound {100*upper(w, n):.2f} %; {100*w/max(m,1):.2f} % of the measured, upper bound {100*upper(w, m):.2f} %",
        f"good photos {good['photos']}: refused {good['refused']} ({100*good['refused']/max(good['photos'],1):.1f} %), right {good['right']}, within_2 {good['within_2']}, wrong {good['wrong']}"]
    head += [f"{f}: " + ", ".join(f"{v} {c[v]}" for v in VERDICTS) for f, c in lengths.items()]
    print("\n".join(head))
    with open(f"{tables}/harsh.csv", "w", newline="") as f:
        f.writelines(f"# {h}\n" for h in head); o = csv.writer(f, lineterminator="\n")
        o.writerow(["scene", "effect", "level", "photos", "refused", *VERDICTS, "codes"])
        for k in sorted(cells): o.writerow([*k, *(cells[k][v] for v in ("photos", "refused", *VERDICTS)), codes(cells[k])])
    with open(f"{tables}/wrong.csv", "w", newline="") as f:
        o = csv.writer(f, lineterminator="\n"); o.writerow(["photo", "length", "truth_mm", "value_mm", "lower_mm", "upper_mm", "error_half_intervals", "error_px"])
        for x in wrongs: o.writerow([*x[:2], *(f"{v:.5f}" for v in x[2:6]), f"{x[6]:.2f}", f"{x[7]:+.2f}"])
    for x in wrongs: print(f"wrong {x[0]} {x[1]}: truth {x[2]:.4f}, {x[3]:.4f} ({x[4]:.4f} to {x[5]:.4f}), {x[6]:.1f} half intervals, {x[7]:+.2f} px")
    for x in lost: print("good refused", *x, sep=" | ")
    print("\nby effect (photos with it, alone or not): refused right within_2 wrong")
    for group, key in (("effect", lambda p: [f"{e} {l}" for e, l in zip(p["effects"], p["levels"])]), ("scene", lambda p: [p["kind"]])):
        rows = collections.defaultdict(collections.Counter)
        wrong = {x[0] for x in wrongs}
        for n, p in photos.items():
            for k in key(p): rows[k]["photos"] += 1; rows[k]["refused" if "refused" in lines[n] else "wrong" if n in wrong else "measured"] += 1
        for k in sorted(rows): print(f"  {group} {k}: {dict(rows[k])}")

if __name__ == "__main__": main()
