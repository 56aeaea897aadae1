#!/usr/bin/python3
"""Base joints of the harsh photos: drawn at random with fixed seeds, rendered in linear light.

Uses ../render.py for solids, rule and camera, and adds what a bench does to them: rust, oil in the
gap, scratches, grinding marks, pits, nicks, lamps of two tints or from one side.

    scenes.py [--work FOLDER] [NAME...]     renders what FOLDER does not hold yet

HARSH_DRAW=NUMBER in the environment draws other joints and photos, of which scenes.py, camera.py and
tally.py then keep truth and tables in FOLDER/tables. HARSH_WIDE=1 beside it draws four times as many
joints and takes fewer photos of each: a joint that comes out wrong does so in most of its photos.
"""
import argparse, json, math, os, subprocess, sys, time
import numpy as np, cv2

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.dirname(HERE)); sys.dont_write_bytecode = True
import render as R

KEPT = 20261125   # the draw whose truth and tables are kept beside this file
DRAW = int(os.environ.get("HARSH_DRAW", KEPT))
WIDE = os.environ.get("HARSH_WIDE") == "1"

def tables(work):
    """The folder of truth and tables."""
    if DRAW == KEPT: return HERE
    os.makedirs(f"{work}/tables", exist_ok=True); return f"{work}/tables"

def chance(what, p):
    """The random numbers of one thing on one joint."""
    return np.random.default_rng([what, p["seed"]] + [DRAW]*(DRAW != KEPT))

SIZE = (1200, 900)
KINDS = dict(clean=6, worn=6, narrow=4, chamfer=3, edge=3, proud=4, rust=4, oil=3, scratched=3, lamp=3, tilt=3, coarse=3, mixed=3)
CAREFUL = ("clean", "worn")   # what a careful user puts under the camera: clean faces, ring light, square on
MORE = dict(kind="clean", careful=False, grey=False, seed=0, rust=0.0, lumps=0, film=False, scratches=0, grind=0.0, grind_deg=0.0, pits=0, nicks=0, lamp="ring", lamp_deg=0.0, tints=None)


def draw(kind, seed):
    """The parameters of one scene: those of render.DEF and of MORE."""
    g = np.random.default_rng([DRAW, seed])
    u, pick = g.uniform, lambda *a: a[g.integers(len(a))]
    with_ = lambda chance: kind == "mixed" and g.random() < chance
    m = u(0.013, 0.020) if kind == "coarse" else u(0.006, 0.010) if kind in CAREFUL else u(0.006, 0.012)
    division = pick(0.5, 1.0) if m > 0.0125 else pick(0.1, 0.5) if m < 0.0095 else pick(0.5, 1.0, 0.5)
    long = R.RULES[division][3]
    bore = ((0.92 - u(0, 0.08))*SIZE[1]*m - 0.8*long)/1.56
    clearance = math.exp(u(math.log(0.03), math.log(0.07))) if kind == "narrow" else math.exp(u(math.log(max(0.05, 6*m)), math.log(0.6)))
    clearance = min(clearance, 0.12*bore)
    pull = u(0, 360)
    wear = None
    if kind == "worn" or kind not in ("clean", "narrow") and g.random() < 0.5:
        where = pick("bore", "pin", "both")
        wear = dict(where=where, depth_mm=round(u(3*m, 0.15), 4), direction_deg=pull)
        if where == "both": wear["share"] = round(u(0.3, 0.7), 2)
        if where == "bore" and g.random() < 0.15: wear["direction_deg"] = pull + 180
    angle = pick(0, 0, 180, 90, -90) + (u(-4, 4) if g.random() < 0.7 else u(-40, 40) if kind not in CAREFUL and kind != "coarse" else 0)
    a_metal = u(0.35, 0.75)
    p = dict(size=SIZE, mmpp=m, bore=round(bore, 4), pin=round(bore - clearance, 4), od=1.45*bore, gap=pick(0.0, 0.002, 0.005, 0.01), pull=pull, wear=wear,
             division=division, scale_y=u(0.76, 0.80)*bore, scale_angle=angle, tick_phase=u(0, division), labels=bool(g.random() < 0.8),
             plate_z=-u(0.05, 0.3), plate_r=1.2*bore, plate_w=0.95*bore, plate_dir=u(0, 360), a_plate=u(0.3, 0.6), a_bush=a_metal*u(0.9, 1.2), a_pin=a_metal, a_rule=u(0.6, 0.8),
             a_wall=u(0.02, 0.08), a_back=u(0.01, 0.08), tex_plate=pick("streak", "pits", "grain"), tex_bush=pick("streak", "pits", "grain"), tex_pin=pick("streak", "pits", "grain"),
             rot_plate=u(-90, 90), rot_bush=u(-90, 90), rot_pin=u(-90, 90), spec=u(0.1, 0.3), ring_r=u(40, 60), ring_z=u(55, 85), uneven=u(0, 0.25), uneven_dir=u(0, 360),
             blur=u(0.6, 0.8), vignette=u(0.02, 0.15), cast=pick("neutral", "warm", "cool"),
             kind=kind, careful=kind in CAREFUL, grey=bool(g.random() < 0.25), seed=seed)
    if kind in CAREFUL:
        if g.random() < 0.3: p.update(tilt=u(0.2, 1.0), tilt_dir=u(0, 360))
    if kind == "chamfer" or with_(0.4): p.update(chamfer=u(0.02, 0.15), s_chamfer=u(0.2, 2), a_chamfer=u(0.2, 0.9), ring_r=u(40, 75), ring_z=u(45, 85))
    if kind == "edge" or with_(0.4): p.update(edge=u(0.008, 0.04), a_edge=u(0.3, 0.8))
    if kind == "proud" or with_(0.4): p.update(proud=pick(-1, 1, 1)*u(0.03, 0.35))
    if kind == "rust" or with_(0.5): p.update(rust=u(0.15, 0.6), lumps=int(g.integers(0, 7)))
    if kind == "oil" or with_(0.4): p.update(film=bool(g.random() < 0.7), oil=int(g.integers(0, 9)))
    if kind == "scratched" or with_(0.5):
        p.update(scratches=int(g.integers(5, 60)), grind=pick(0.0, u(0.1, 0.4)), grind_deg=u(0, 180), pits=pick(0, int(g.integers(20, 200))), nicks=int(g.integers(0, 6)))
    if kind == "lamp" or with_(0.4):
        lamp = pick("side", "two")
        p.update(lamp=lamp, lamp_deg=u(0, 360), tints=[[1.0, u(0.7, 0.9), u(0.4, 0.7)], [u(0.5, 0.75), u(0.75, 0.95), 1.0]] if lamp == "two" else [[1.0, u(0.9, 1), u(0.75, 1)]], ring_z=u(35, 75))
        p.update(uneven=u(0.3, 0.9), gradient=u(0, 0.5), gradient_dir=u(0, 360))
    if kind == "tilt" or with_(0.3): p.update(tilt=u(1.0, 4.0), tilt_dir=u(0, 360))
    # the joint and its rule in the middle of the frame
    q = {**R.DEF, **MORE, **p}
    a = math.radians(angle); ey = np.array([-math.sin(a), math.cos(a)])
    mid = (p["scale_y"] + 0.8*long - 1.04*p["od"]/2)/2
    c = (np.array(SIZE) - 1)/2 - ey*mid/m + g.uniform(-8, 8, 2)
    q["bore_px"] = (float(c[0]), float(c[1]))
    return q


def scenes():
    """Name -> parameters, kinds mixed so that the first few show all of them."""
    left = {k: n*(4 if WIDE else 1) for k, n in KINDS.items()}; out = {}; n = 0
    while any(left.values()):
        for k in KINDS:
            if left[k]:
                left[k] -= 1; n += 1; out[f"s{n:02d}-{k}"] = draw(k, n)
    return out


# ---------- what the bench does --------------------------------------------------------------
def marks(p, work):
    """A picture with transparency of scratches, grinding marks and pits, 2048 px over 16 mm."""
    path = f"{work}/marks_{p['seed']}.png"
    if os.path.exists(path): return path
    g = chance(7, p); n = 2048
    tone, alpha = np.zeros((n, n), np.float32), np.zeros((n, n), np.float32)
    def line(a, b, t, al, w):
        m = np.zeros((n, n), np.uint8)
        cv2.line(m, tuple(int(16*v) for v in a), tuple(int(16*v) for v in b), 255, w, cv2.LINE_AA, 4)
        m = m.astype(np.float32)/255*al; k = m > alpha; tone[k] = t; alpha[k] = m[k]
    if p["grind"]:
        d = np.array([math.cos(math.radians(p["grind_deg"])), math.sin(math.radians(p["grind_deg"]))]); q = np.array([-d[1], d[0]])
        for _ in range(140):
            c = n/2 + q*g.uniform(-0.72, 0.72)*n + d*g.uniform(-0.5, 0.5)*n; l = g.uniform(0.1, 0.7)*n
            line(c - d*l, c + d*l, g.choice([0.02, 0.9]), p["grind"]*g.uniform(0.3, 1), int(g.integers(1, 4)))
    for _ in range(p["scratches"]):
        a = g.uniform(0.1, 0.9, 2)*n; d = g.normal(0, 260, 2)
        line(a, a + d, g.choice([0.02, 0.02, 1.0]), g.uniform(0.3, 0.95), int(g.integers(1, 5)))
    for _ in range(p["pits"]):
        m = np.zeros((n, n), np.uint8); a = g.uniform(0.1, 0.9, 2)*n; r = g.uniform(1.5, 8)
        cv2.ellipse(m, (tuple(a), (2*r, 2*r*g.uniform(0.5, 1)), g.uniform(0, 180)), 255, -1, cv2.LINE_AA)
        k = m > 0; tone[k] = 0.02; alpha[k] = np.maximum(alpha[k], m[k].astype(np.float32)/255*0.9)
    alpha = cv2.GaussianBlur(alpha, (0, 0), 0.6)
    t = np.clip(tone*255 + 0.5, 0, 255).astype(np.uint8)
    cv2.imwrite(path, np.dstack([t, t, t, np.clip(alpha*255 + 0.5, 0, 255).astype(np.uint8)]))
    return path

RUST = "[%.3f rgbt<0.25,0.10,0.04,1>][%.3f rgbt<0.16,0.06,0.025,0.25>][1 rgbt<0.36,0.16,0.05,0>]"

def layers(p, surface, work):
    """Texture layers over a face: rust, and marks that run across all faces."""
    s = ""
    if p["rust"] and surface != "back":
        g = chance(8, p); o = g.uniform(-50, 50, 3); t = 0.78 - 0.5*p["rust"] + (0.1 if surface == "rule" else 0)
        s += (f" texture{{pigment{{bozo turbulence 0.7 octaves 6 scale {g.uniform(0.3, 1.0):.3f} translate<{o[0]:.2f},{o[1]:.2f},{o[2]:.2f}> color_map{{[0 rgbt<0.25,0.10,0.04,1>]{RUST % (t, t + 0.07)}}}}} "
              f"normal{{bumps 0.7 scale 0.04}} finish{{ambient 0 emission 0 diffuse 0.8}}}}")
    if (p["scratches"] or p["grind"] or p["pits"]) and surface in ("bush", "pin", "plate"):
        s += (f" texture{{pigment{{image_map{{png \"{marks(p, work)}\" gamma 1.0 map_type 0 interpolate 2}} translate<-0.5,-0.5,0> scale 16}} "
              "finish{ambient 0 emission 0 diffuse 0.8}}")
    return s

def dirt(p):
    """Rust lumps, nicks and the film of oil in the gap."""
    g = chance(9, p); rb = p["bore"]/2; s = []
    for _ in range(p["lumps"]):
        a = g.uniform(0, 2*math.pi); r = g.uniform(0.03, 0.12)
        balls = " ".join(f"sphere{{<{rb*math.cos(a)+g.normal(0,.7*r):.4f},{rb*math.sin(a)+g.normal(0,.7*r):.4f},0>,{r*g.uniform(.4,1):.4f}}}" for _ in range(6))
        s.append(f"union{{{balls} scale<1,1,0.3> translate<0,0,{max(0, p['proud']):.3f}> pigment{{bozo scale 0.05 color_map{{[0 rgb<.14,.055,.02>][1 rgb<.34,.15,.05>]}}}} normal{{bumps 0.8 scale 0.03}} finish{{ambient 0 emission 0 diffuse 0.8}}}}")
    for _ in range(p["nicks"]):
        a = g.uniform(0, 2*math.pi); r = g.uniform(0.02, 0.07); rr = rb + g.uniform(-0.2, 0.6)*r
        s.append(f"sphere{{0,1 scale<{r:.4f},{r*g.uniform(.4,1):.4f},0.002> rotate<0,0,{g.uniform(0,180):.1f}> translate<{rr*math.cos(a):.4f},{rr*math.sin(a):.4f},0> {R.plain(0.03)} no_shadow}}")
    if p["film"]:
        z = min(0, p["proud"]) - g.uniform(0.01, 0.04); c = g.uniform(0.6, 1.2)
        s.append(f"cylinder{{<0,0,{z-0.3:.4f}>,<0,0,{z:.4f}>,{rb+(p['wear'] or {}).get('depth_mm', 0)+0.01:.4f} pigment{{rgbf<{0.5*c:.3f},{0.3*c:.3f},{0.1*c:.3f},0.6>}} normal{{bumps 0.1 scale 0.2}} "
                 "finish{ambient 0 emission 0 diffuse 0.25 specular 0.9 roughness 0.003} no_shadow}")
    return "\n".join(s)

def lamps(p, e, p0, i):
    """The lamps of pass i: four of the ring of 16, or one or two lamps of 6 mm radius to the side."""
    e1, e2, e3 = e; foot = np.array([p0[0], p0[1], 0]); v = lambda x: "<%.9f,%.9f,%.9f>" % tuple(x)
    if p["lamp"] == "ring":
        for j in range(4):
            th = 2*math.pi*(i + 4*j)/16
            L = foot + p["ring_r"]*(math.cos(th)*e1 + math.sin(th)*e2) + p["ring_z"]*e3
            yield f"light_source{{{v(L)} rgb {0.25*(1 + p['uneven']*math.cos(th - math.radians(p['uneven_dir']))):.5f}}}"
        return
    for k, t in enumerate(p["tints"]):
        th = math.radians(p["lamp_deg"]) + 2.4*k; a = 2*math.pi*(i + 0.5*k)/4
        L = foot + p["ring_r"]*(math.cos(th)*e1 + math.sin(th)*e2) + p["ring_z"]*e3 + 6*(math.cos(a)*e1 + math.sin(a)*e2)
        yield f"light_source{{{v(L)} rgb<{t[0]:.4f},{t[1]:.4f},{t[2]:.4f}>}}"


# ---------- render ---------------------------------------------------------------------------
SUB = np.array([(-3, -1), (1, -3), (-1, 3), (3, 1)])/8     # places within the pixel of the four passes
APERTURE = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])/2   # and in the lens

FACES = {11: "bush", 23: "pin", 31: "plate", 41: "rule", 51: "back"}   # render.tex knows its faces by these seeds

def render(name, p, work):
    """The mean of four linear renders, much as ../render.py does it, with this folder's lamps and dirt."""
    plainly = R.tex
    R.tex = lambda q, kind, seed, *a, **k: plainly(q, kind, seed, *a, **k) + layers(p, FACES[seed], work)
    try:
        scene = "\n".join(["#version 3.7; global_settings{assumed_gamma 1.0 max_trace_level 4}",
            f"plane{{z,-7 {R.tex(p, 'fine', 51, p['a_back'], 30, spec=0, contrast=2)}}}", R.joint_scene(p),
            R.rule_scene(p, None), R.oil_scene(p, chance(10, p)), dirt(p)])
    finally:
        R.tex = plainly
    e1, e2, e3, p0, _, _ = R.camera(p); (W, H), m, D = p["size"], p["mmpp"], 110.0
    acc = 0; v = lambda x: "<%.9f,%.9f,%.9f>" % tuple(x)
    pov, out = f"{work}/{name}.pov", f"{work}/{name}.ppm"
    for i in range(4):
        a = (e1*APERTURE[i, 0] + e2*APERTURE[i, 1])*p["aperture"]
        d = -D*e3 - a + (e1*SUB[i, 0] + e2*SUB[i, 1])*m
        open(pov, "w").write(scene + "\n" + "\n".join(lamps(p, (e1, e2, e3), p0, i)) +
            f"\ncamera{{perspective location {v(p0 + D*e3 + a)} direction {v(d)} right {v(e1*W*m)} up {v(-e2*H*m)}}}\n")
        r = subprocess.run(["povray", f"+I{pov}", f"+O{out}", f"+W{W}", f"+H{H}", "-A", "-D", "+WT1", "-GA",
                            "File_Gamma=1.0", "Bits_Per_Color=16", "Output_File_Type=P"], capture_output=True, text=True)
        if r.returncode: raise SystemExit(r.stderr[-3000:])
        acc = acc + cv2.imread(out, -1)[..., ::-1].astype(np.float32)/65535
    os.remove(out); os.remove(pov)
    return acc/4


def truth(name, p):
    """The truth of a scene: lengths of the object in mm, whatever the camera does to them."""
    t = R.truth(name, {**p, "note": p["kind"]}, 0.0); db, dp = R.worn_by(p["wear"]); r = lambda v: round(float(v), 6)
    t.update(scene=dict(name=name, kind=p["kind"], careful=p["careful"], grey=p["grey"], division=p["division"], mm_per_px=r(p["mmpp"]),
        bore_diameter=p["bore"], pin_diameter=p["pin"], clearance=r(p["bore"] - p["pin"]), play=r(p["bore"] - p["pin"] + db + dp), offset=r(t["eccentricity_mm"]),
        wear_depth_bore=r(db), wear_depth_pin=r(dp), min_gap=p["gap"], pull_deg=r(p["pull"] % 360), proud=r(p["proud"]), chamfer=r(p["chamfer"]), edge_break=r(p["edge"]),
        tilt_deg=r(p["tilt"]), rule_deg=r(p["scale_angle"]), lamp=p["lamp"], rust=r(p["rust"]), lumps=p["lumps"], film=p["film"], oil=p["oil"],
        scratches=p["scratches"], grind=r(p["grind"]), pits=p["pits"], nicks=p["nicks"]))
    return t


def main():
    a = argparse.ArgumentParser(); a.add_argument("--work", default=os.path.join(HERE, "renders")); a.add_argument("names", nargs="*"); a = a.parse_args()
    work = os.path.abspath(a.work); os.makedirs(f"{work}/work", exist_ok=True); R.WORK = work   # as ../verify.py wants it: truth.json here, renders in work/
    every = scenes()
    ts = [truth(n, p) for n, p in every.items()]
    json.dump(dict(images=ts), open(f"{work}/truth.json", "w"))
    with open(f"{tables(work)}/truth.json", "w") as f:
        f.write("[\n" + ",\n".join(json.dumps(t["scene"]) for t in ts) + "\n]\n")
    for n in a.names or every:
        f = os.path.join(work, "work", n + ".npy")
        if os.path.exists(f): continue
        t0 = time.time(); np.save(f + ".new.npy", render(n, every[n], work)); os.rename(f + ".new.npy", f)
        print(f"{n} rendered in {time.time() - t0:.0f} s", flush=True)

if __name__ == "__main__": main()
