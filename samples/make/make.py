#!/usr/bin/python3
"""Renders the photos of scenes.py into ../filler-drive and keeps their truth in ../truth.json.

    /usr/bin/python3 make.py            # those that are not there yet
    /usr/bin/python3 make.py FILE...    # these

The scenes come from the ray-tracing scripts of testdata (POV-Ray 3.7, python3-opencv,
python3-numpy). What is random is drawn from the file's name.
"""
import functools, json, math, os, sys, zlib
import numpy as np, cv2

HERE = os.path.dirname(os.path.abspath(__file__)); OUT = os.path.join(HERE, "..", "filler-drive"); WORK = os.path.join(HERE, "work")
TESTDATA = os.path.join(HERE, "..", "..", "testdata")
sys.dont_write_bytecode = True
sys.path[1:1] = [os.path.join(TESTDATA, d) for d in ("rendered", "chains")]
import render as end, rend as side
for m in (end, side): m.HERE = m.WORK = WORK
end.plan = functools.lru_cache(end.plan)
from scenes import JOINTS, SETS

JOINT = dict(end.DEF, size=(1200, 900), mmpp=0.0075, scale_y=2.9, jpeg=86)   # one setting of the microscope


def keep(name, file, quality):
    os.makedirs(os.path.dirname(f"{OUT}/{file}"), exist_ok=True)
    os.replace(f"{WORK}/{name}.jpg", f"{OUT}/{file}")


def one_word(name): return name.rsplit(".", 1)[0].replace("/", "_")


# ---------- end-on ---------------------------------------------------------------------------
def turned(p, roll):
    """The joint turned under the camera."""
    p = dict(p)
    for k in ("scale_angle", "plate_dir", "pull", "rot_plate", "rot_bush", "rot_pin"): p[k] = p[k] + roll
    if p["wear"]: p["wear"] = dict(p["wear"], direction_deg=p["pull"])
    return p


def end_on(file, own):
    own = dict(own); kind, of, roll, name = own.pop("kind"), own.pop("of", None), own.pop("roll"), one_word(file)
    bad = set(own) - set(end.DEF)
    if bad: raise SystemExit(f"{file}: {bad}")
    p = turned({**JOINT, **(JOINTS[of] if of else {}), **own}, roll)
    if kind == "scale": p.update(joint=None, bore_px=(620, 450), scale_y=-0.35)
    lin = end.render(name, p); noise = end.develop(name, p, lin); os.remove(f"{WORK}/{name}.npy")
    keep(name, file, p["jpeg"])
    t = end.truth(name, p, noise)
    t.update(kind=kind, files=[file])
    if of:
        d = p["wear"]["depth_mm"] if p["wear"] else 0.0
        t.update(joint=of, one_sided_wear_mm=d, scale_in_photo=p["rule"])
    return t


scene_of_joint = end.joint_scene
end.joint_scene = lambda p: "" if p["joint"] is None else scene_of_joint(p)


# ---------- from the side --------------------------------------------------------------------
def span(file, own):
    own = dict(own); p = {**side.BASE, **own}; name = one_word(file)
    bad = set(own) - set(side.BASE)
    if bad: raise SystemExit(f"{file}: {bad}")
    M = side.matrix(p); scene, _ = side.span_scene(name, p)
    noise = end.develop(name, p, side.render(name, p, scene)); keep(name, file, p["jpeg"])
    ext, _, _, J, _ = side.chain(name, p); types = ext[1:-1]; pins = J[1:-1]
    pitches = np.hypot(*np.diff(pins, axis=0).T); of = lambda t: [x for x, y in zip(pitches, types) if y == t]
    t = side.base_truth(name, p, M, [file])
    t.update(nominal_pitch_mm=p["pitch"], n_pitches=len(pitches), pitch_mm=[round(float(x), 4) for x in pitches], pitch_link_type=types,
             span_mm=round(float(np.hypot(*(pins[-1] - pins[0]))), 4), mean_pitch_inner_mm=round(float(np.mean(of("inner"))), 4),
             mean_pitch_outer_mm=round(float(np.mean(of("outer"))), 4), elongation_percent=round(100*float(pitches.mean()/p["pitch"] - 1), 4),
             joint_growth_nominal_mm=round(p["growth"]*p["pitch"], 5), pin_head_rim_plane_z_mm=0.0, noise_sigma_8bit=round(noise, 2),
             pin_px=[side.r3(side.proj(M, [*x, 0])) for x in pins])
    return t


def ticks(p):
    """As of the scripts of testdata, but a half-millimetre rule is longer at whole millimetres, not at each fifth mark."""
    for k, x, l in ticks_there(p):
        if p["division"] == 0.5:
            _, short, middle, long = side.RULES[0.5]; l = long if (k + p["tick0"]) % 10 == 0 else middle if (k + p["tick0"]) % 2 == 0 else short
        yield k, x, l


ticks_there, side.ticks = side.ticks, ticks


def moved(p, share, nudge, nroll):
    """The pair's scene with the moving link at that share of its way, and the camera moved."""
    at = dict(p, play=(2*share - 1)*p["play"], nudge=tuple(nudge), nroll=nroll)
    return at, side.pair_scene("", at, "b")[0]


def pair_truth(name, p, files):
    t = side.base_truth(name, p, side.matrix(p, "a"), files)
    t["scale"]["longer_every"] = 2
    t.update(kind=p["kind"], play_mm=p["play"], pull_direction_deg=p["pull"] + p["roll"], inner_link_plane_z_mm=p["inner_z"],
             outer_plate_and_scale_plane_z_mm=0.0, working_distance_mm=p["D"])
    return t


def pair(file, own):
    own = dict(own); names = own.pop("files"); p = {**side.BASE, **side.PAIR, **own}; folder = os.path.dirname(file); files = []
    for share, state in enumerate(names):
        name = one_word(f"{folder}/{state}")
        at, scene = moved(p, share, share*np.array(p["nudge"]), share*p["nroll"])
        end.develop(name, p, side.render(name, at, scene, "b")); files.append(f"{folder}/{state}"); keep(name, files[-1], p["jpeg"])
    t = pair_truth(one_word(file), p, files); t.update(camera_nudge_mm=list(p["nudge"]), camera_nudge_roll_deg=p["nroll"])
    return t


def rocking(ways, rest):
    """Shares of the way, frame by frame: at rest at either end, a few frames to go over."""
    out = []
    for w in range(ways + 1):
        a = float(w % 2); out += [a]*rest
        if w < ways: out += [a + (1 - 2*a)*k/4 for k in (1, 2, 3)]
    return out


def clip(file, own):
    own = dict(own); shares = rocking(own.pop("ways"), own.pop("rest")); p = {**side.BASE, **side.PAIR, **own, "jpeg": 100}; name = one_word(file)
    rng = np.random.default_rng(zlib.crc32(name.encode())); hand = np.zeros(2); nudges = []
    os.makedirs(os.path.dirname(f"{OUT}/{file}"), exist_ok=True)
    w = cv2.VideoWriter(f"{OUT}/{file}", cv2.VideoWriter_fourcc(*"MJPG"), 15, p["size"]); w.set(cv2.VIDEOWRITER_PROP_QUALITY, 88)
    for i, share in enumerate(shares):
        frame = f"{name}_{i}"
        at, scene = moved(p, share, hand, 0.0); end.develop(frame, p, side.render(frame, at, scene, "b"))
        w.write(cv2.imread(f"{WORK}/{frame}.jpg")); nudges.append([round(float(x), 5) for x in hand]); os.remove(f"{WORK}/{frame}.jpg")
        hand = 0.9*hand + 0.004*rng.standard_normal(2)   # the hand drifts more than it jumps
    w.release()
    t = pair_truth(name, p, [file]); t.update(frames=len(shares), share_of_way=shares, camera_nudge_mm=nudges)
    return t


# ---------- all ------------------------------------------------------------------------------
MAKE = dict(joint=end_on, scale=end_on, span=span, pair=pair, clip=clip)
CONV = dict(end.CONV, files="under filler-drive/",
            joint="names the joint's scene in make/scenes.py; photos of the same joint share it",
            one_sided_wear_mm="depth of the worn flank on the line of pull; 0 for a joint that is new or worn all round",
            play_mm="full travel of the moving link in its own plane, which lies inner_link_plane_z_mm above the scale's",
            elongation_percent="of the mean pitch against the nominal one")


def keep_truth(t):
    path = f"{HERE}/../truth.json"
    doc = json.load(open(path)) if os.path.exists(path) else dict(images=[])
    old = [i for i in doc["images"] if i["id"] != t["id"]]
    doc = dict(version=1, conventions=CONV, images=sorted(old + [t], key=lambda i: i["files"]))
    json.dump(doc, open(path + ".new", "w"), indent=1, default=float); os.replace(path + ".new", path)


def files_of(file, own): return [f"{os.path.dirname(file)}/{f}" for f in own.get("files", ())] or [file]


if __name__ == "__main__":
    os.makedirs(WORK, exist_ok=True)
    asked = sys.argv[1:] or [f for f in SETS if not all(os.path.exists(f"{OUT}/{g}") for g in files_of(f, SETS[f]))]
    for f in asked:
        keep_truth(MAKE[SETS[f]["kind"]](f, SETS[f]))
        print(f, flush=True)
