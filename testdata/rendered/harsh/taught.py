#!/usr/bin/python3
"""Keeps photos that taught something in taught/, with their truth in the way of ../truth.json, beside those kept before.

    taught.py [--work FOLDER] NAME...     those of another draw by HARSH_DRAW, which their names then begin with
"""
import argparse, json, os, shutil, sys
sys.dont_write_bytecode = True
import scenes as S

def main():
    a = argparse.ArgumentParser(); a.add_argument("--work", default=os.path.join(S.HERE, "renders")); a.add_argument("names", nargs="+"); a = a.parse_args()
    photos = json.load(open(f"{a.work}/photos.json")); every = S.scenes(); os.makedirs(f"{S.HERE}/taught", exist_ok=True)
    file = f"{S.HERE}/taught/truth.json"; images = {t["files"][0]: t for t in json.load(open(file))["images"]} if os.path.exists(file) else {}
    for n in sorted(a.names):
        p, q, kept = every[photos[n]["scene"]], photos[n], n if S.DRAW == S.KEPT else f"{S.DRAW}-{n}"; t = S.truth(kept, p)
        for k in ("H_plane_z0_mm_to_px", "P_3x4_mm_to_px", "scene", "sensor", "light", "camera", "size_px", "bore_centre_px", "pin_centre_px", "pin_end_centre_px", "pin_end_mm_per_px", "max_gap_mm"): t.pop(k, None)
        t.update(scale=dict(division_mm=p["division"], angle_deg=round(p["scale_angle"], 3)), mm_per_px=q["mm_per_px"], note=f"{q['scene']}: {json.dumps(q['settings'])}")
        t["wear_depth_bore_mm"], t["wear_depth_pin_mm"] = (round(v, 6) for v in S.R.worn_by(p["wear"]))
        images[t["files"][0]] = t; shutil.copy(f"{a.work}/{n}.jpg", f"{S.HERE}/taught/{kept}.jpg")
    with open(file, "w") as f: json.dump(dict(images=[images[k] for k in sorted(images)]), f, indent=1); f.write("\n")

if __name__ == "__main__": main()
