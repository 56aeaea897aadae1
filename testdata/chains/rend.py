#!/usr/bin/python3
"""Chains from the side (spans and pairs) with POV-Ray, known truth. z towards camera, mm."""
import json, math, os, subprocess, sys, zlib
import numpy as np, cv2
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "rendered"))
import render as rr
HERE = os.path.dirname(os.path.abspath(__file__)); WORK = os.path.join(HERE, "work"); rr.HERE, rr.WORK = HERE, WORK
F9 = lambda x: "%.9f" % x
BASE = dict(expect="measure", note="", kind="span", passes=8, mmpp=0.05, size=(1920,1080), D=420.0, aperture=2.5, focus=0.0, ring_r=70.0, ring_z=150.0, uneven=0.0, uneven_dir=0.0,
  roll=0.0, tilt=0.0, division=1.0, label="mm", rule_z=0.0, rule_y=6.2, rule_w=9.5, tick_phase=0.31, tick0=50, marks=0.0, rule_angle=0.0, chain_angle=0.0,
  n=9, first="outer", growth=0.005, uneven_wear=0.0, pitch=8.0, head=3.3, dome=0.35, plate_top=-0.3, plate_t=0.9, sag=0.0, ends="solid", centre_px=None, chain_off=0.0,
  a_outer=0.42, a_inner=0.36, a_head=0.55, a_bush=0.72, a_rule=0.75, a_back=0.03, spec_head=5.0, rough_head=0.006, texscale=36.0, contrast=1.0, oil=0, bush_only=False,
  head_err=0.0, line=0.08, headscale=12.0, c_outer=0.5, pin_in_bush=False,
  R=3.1, w=2.1, od=4.7, bore=3.36, plate_jit=0.004,
  blur=0.65, vignette=0.2, expose=0.70, sharpen=0.0, jpeg=90, cast="neutral", well=4000, read=3.0, veil=0.0, gain=1.0, motion=None, post_defocus=0.0, gradient=0.0, gradient_dir=0.0,
  play=0.15, pull=0.0, swing=0.0, nudge=(0.03,-0.02), nroll=0.12, inner_z=-1.3)
PAIR = dict(kind="pair", mmpp=0.009, size=(1600,1200), D=160.0, aperture=2.0, division=0.5, rule_y=4.2, tick_phase=0.13, tick0=20, texscale=12.0, plate_top=0.0, plate_t=1.28,
  ring_r=45.0, ring_z=75.0, blur=0.75, dome=0.45, a_back=0.05)

def texd(p, kind, seed, albedo, rot, off, spec=0.15, rough=0.08, sc=None):
    png = rr.texture(kind, seed, p["c_outer"] if kind == "streak" else p["contrast"]); k = albedo*255/150
    return (f"texture{{pigment{{image_map{{png \"{png}\" gamma 1.0 map_type 0 interpolate 2}} scale {sc or p['texscale']} rotate<0,0,{rot}> translate<{off[0]:.3f},{off[1]:.3f},0>}} "
            f"finish{{ambient 0 emission 0 diffuse {k:.5f} specular {spec*albedo:.5f} roughness {rough} }}}}")
def plate(p, L, top, t, holes=(), hole_r=0):
    """Waisted plate from (0,0) to (L,0)."""
    R, w = p["R"], p["w"]; rho = (L*L/4 + w*w - R*R)/(2*(R - w)); h = w + rho; xt = L/2*rho/(R + rho); yt = h - math.sqrt(rho*rho - xt*xt)
    bt = top - t
    s = (f"union{{cylinder{{<0,0,{bt}>,<0,0,{top}>,{R}}} cylinder{{<{F9(L)},0,{bt}>,<{F9(L)},0,{top}>,{R}}} "
         f"difference{{box{{<{L/2-xt},{-yt},{bt}>,<{L/2+xt},{yt},{top}>}} cylinder{{<{L/2},{h},{bt-1}>,<{L/2},{h},{top+1}>,{rho}}} cylinder{{<{L/2},{-h},{bt-1}>,<{L/2},{-h},{top+1}>,{rho}}} }} }}")
    if holes:
        s = "difference{" + s + " ".join(f" cylinder{{<{F9(x)},0,{bt-1}>,<{F9(x)},0,{top+1}>,{hole_r} {rr.plain(0.02)}}}" for x in holes) + "}"
    return s
def at(x, a): 
    c, s = math.cos(a), math.sin(a); return f"matrix<{F9(c)},{F9(s)},0,{F9(-s)},{F9(c)},0,0,0,1,{F9(x[0])},{F9(x[1])},0>"
def head(p, x, seed):
    r = p["head"]/2; hd = p["dome"]; Rs = (r*r + hd*hd)/(2*hd); rng = np.random.default_rng(seed)
    t = texd(p, "grain", 23, p["a_head"], rng.uniform(0, 360), rng.uniform(-9, 9, 2), p["spec_head"], p["rough_head"], p["headscale"])
    ri = r - p["line"]; tr = f"translate<{F9(x[0])},{F9(x[1])},0>"
    dome = f"intersection{{sphere{{<0,0,{hd-Rs}>,{Rs}}} cylinder{{<0,0,-0.001>,<0,0,{hd+1}>,{ri}}} }}"
    if not p["line"]: return f"union{{cylinder{{<0,0,{p['plate_top']-0.5}>,<0,0,0.00001>,{r}}} {dome} {t} {tr}}}"
    # the rolled edge of the head looks away from the lamps: a dark ring whose outer edge is the rim, at z = 0
    return f"union{{cylinder{{<0,0,{p['plate_top']-0.5}>,<0,0,0.00001>,{r} {rr.plain(p['a_head']*0.25)}}} object{{{dome} {t}}} {tr}}}"
def bush(p, x, top, seed):
    rng = np.random.default_rng(seed)
    t = texd(p, "grain", 11, p["a_bush"], rng.uniform(0, 360), rng.uniform(-9, 9, 2))
    s = f"difference{{cylinder{{<0,0,{top-5}>,<0,0,{top}>,{p['od']/2} {t}}} cylinder{{<0,0,{top-6}>,<0,0,{top+1}>,{p['bore']/2} {rr.plain(0.04)}}} translate<{F9(x[0])},{F9(x[1])},0>}}"
    return s
RULES = {0.5: (0.06, 1.0, 1.4, 1.9), 1.0: (0.11, 1.6, 2.2, 3.0)}
def ticks(p):
    w, l1, l5, l10 = RULES[p["division"]]; l1 = p["marks"] or l1; half = 80 if p["kind"] == "span" else 12
    for k in range(-300, 301):
        x = p["tick_phase"] + k*p["division"]
        if abs(x) < half: yield k, x, (l10 if (k + p["tick0"]) % 10 == 0 else l5 if (k + p["tick0"]) % 5 == 0 else l1)
def rule_frame(p):
    a = math.radians(p["rule_angle"]); return np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
def rule(p):
    w = RULES[p["division"]][0]; ex, ey = rule_frame(p); o = ey*p["rule_y"]
    out = ["union{", f"box{{<-80,0,-0.8>,<80,{p['rule_w']},0> {texd(p,'fine',41,p['a_rule'],0,(3,5),0.1)}}}", "union{"]
    for k, x, l in ticks(p):
        out.append(f"box{{<{x-w/2:.6f},0.012,-0.01>,<{x+w/2:.6f},{l},0.0006>}}")
        v = k + p["tick0"]
        if p["label"] and v % 10 == 0 and v >= 0:
            s = str(v//10 if p["label"] == "cm" else v if p["division"] == 1 else v//2); h = 1.5 if p["kind"] == "span" else 0.9
            out.append(f"text{{ttf \"/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf\" \"{s}\" 0.01,0 scale<{h},{-h},0.05> translate<{x-0.318*h*len(s):.4f},{l+0.25+0.73*h:.4f},0>}}")
    out.append(rr.plain(0.045, 0) + " no_shadow}")
    out.append(f"matrix<{F9(ex[0])},{F9(ex[1])},0,{F9(ey[0])},{F9(ey[1])},0,0,0,1,{F9(o[0])},{F9(o[1])},{p['rule_z']}>}}")
    return "\n".join(out)

def chain(name, p):
    """Joint positions: pins, per-link type, bush positions."""
    rng = np.random.default_rng(zlib.crc32((name + "chain").encode())); n = p["n"]; P = p["pitch"]
    types = [("outer", "inner")[(i + (p["first"] == "inner")) % 2] for i in range(n)]
    other = {"outer": "inner", "inner": "outer"}
    ext = [other[types[0]]] + types + [other[types[-1]]]        # one link more at each end
    g = p["growth"]*P                                            # growth a joint
    e = g*(1 + p["uneven_wear"]*rng.uniform(-1, 1, n + 3)) + rng.normal(0, 0.002, n + 3)*(g > 0)
    Ls = [(P + rng.normal(0, 0.0015)) if t == "outer" else P + e[i] + e[i + 1] for i, t in enumerate(ext)]
    m = len(Ls); mid = (m - 1)/2
    ang = [math.radians(p["chain_angle"] - p["sag"]*(i - mid)/(mid - 1)) for i in range(m)] if p["sag"] else [math.radians(p["chain_angle"])]*m
    J = [np.zeros(2)]
    for L, a in zip(Ls, ang): J.append(J[-1] + L*np.array([math.cos(a), math.sin(a)]))
    J = np.array(J); J -= (J[1] + J[-2])/2; J[:, 1] += p["chain_off"]
    return ext, Ls, ang, J, e
def span_scene(name, p):
    ext, Ls, ang, J, e = chain(name, p); s = []; it = p["plate_top"] - p["plate_t"] - 0.02
    if p["bush_only"]: it = 0.0
    rng = np.random.default_rng(zlib.crc32((name + "tex").encode())); P = p["pitch"]; bushes = []
    last = len(ext) - 1
    for i, (t, L, a) in enumerate(zip(ext, Ls, ang)):
        off = rng.uniform(-15, 15, 2); u = np.array([math.cos(a), math.sin(a)])
        if t == "outer":
            if p["bush_only"]:
                s.append(f"object{{{plate(p, L, it-6, 0.9)} {texd(p,'streak',31,p['a_outer'],15,off)} {at(J[i], a)}}}")
            else:
                z = -0.0001*i
                s.append(f"object{{{plate(p, L, p['plate_top'], p['plate_t'])} {texd(p,'streak',31,p['a_outer'],rng.uniform(-20,20),off)} {at(J[i], a)}}}")
        else:
            b0 = J[i] + e[i]*u; b1 = J[i + 1] - e[i + 1]*u
            op = []
            if p["bush_only"]: op = [0, 1]
            elif p["ends"] == "open" or (p["ends"] == "right"):
                if i == 0 and p["ends"] == "open": op = [0]
                if i == last: op = op + [1]
            Lb = float(np.hypot(*(b1 - b0)))
            s.append(f"object{{{plate(p, Lb, it, 0.9, [Lb*k for k in op], p['od']/2+0.005)} {texd(p,'streak',32,p['a_inner'],rng.uniform(-20,20),off)} {at(b0, a)}}}")
            for k in op: bushes.append(((b0, b1)[k], it + 0.03))
    ends = []
    for x, z in bushes: s.append(bush(p, x, z, len(s)))
    heads = J[1:-1] if not p["bush_only"] else []
    if ext[0] == "outer" and not p["bush_only"]: heads = np.vstack([J[:1], heads])
    if ext[-1] == "outer" and not p["bush_only"]: heads = np.vstack([heads, J[-1:]])
    for i, x in enumerate(heads): s.append(head(p, x, 100 + i))
    if p["oil"]:
        for i in range(p["oil"]):
            k = rng.integers(1, len(J) - 1); th = rng.uniform(0, 2*math.pi); R = p["head"]/2*rng.choice([0.9, 1.0, 1.1, 1.8]); x, y = J[k] + R*np.array([math.cos(th), math.sin(th)])
            r = rng.uniform(0.2, 0.6)
            balls = " ".join(f"sphere{{<{x+rng.normal(0,.5*r):.4f},{y+rng.normal(0,.5*r):.4f},0>,{r*rng.uniform(.6,1):.4f}}}" for _ in range(5))
            s.append(f"union{{{balls} scale<1,1,0.2> translate<0,0,{-0.28 if R > p['head']/2 else 0.05}> pigment{{rgbft<0.75,0.55,0.2,0.75,0>}} finish{{ambient 0 emission 0 diffuse 0.25 specular 0.8 roughness 0.002}} no_shadow}}")
    return "\n".join(s), bushes
def pair_inner(p, state):
    u = np.array([math.cos(math.radians(p["pull"])), math.sin(math.radians(p["pull"]))])
    d = (-0.5 if state == "a" else 0.5)*p["play"]*u; a = math.radians(p["pull"] + (p["swing"] if state == "b" else 0))
    return d, a
def pair_scene(name, p, state):
    s = []; P = p["pitch"]; a0 = math.radians(p["pull"]); u = np.array([math.cos(a0), math.sin(a0)])
    s.append(f"object{{{plate(p, P, 0, p['plate_t'])} {texd(p,'streak',31,p['a_outer'],8,(3,7))} {at(-P*u, a0)}}}")
    s.append(head(p, (0, 0), 7)); s.append(head(p, -P*u, 8))
    d, a = pair_inner(p, state); v = np.array([math.cos(a), math.sin(a)]); b = d + P*v
    t = texd(p, 'streak', 32, p['a_inner'], -9, (-4, 2))
    s.append(f"object{{{plate(p, P, p['inner_z'], 1.3, [P], p['od']/2+0.005)} {t} {at(d, a)}}}")
    tb = texd(p, "grain", 11, p["a_bush"], 60, (2, 3))
    z = p["inner_z"] + 0.0
    s.append(f"difference{{cylinder{{<0,0,{z-5}>,<0,0,{z+0.005}>,{p['od']/2} {tb}}} cylinder{{<0,0,{z-6}>,<0,0,{z+1}>,{p['bore']/2} {rr.plain(0.04)}}} {at(b, a)}}}")
    return "\n".join(s), b
def cam(p, state="a"):
    W, H = p["size"]; th = math.radians(p["roll"] + (p["nroll"] if state == "b" else 0)); c, s = math.cos(th), math.sin(th)
    e1, e2, e3 = np.array([c, -s, 0]), np.array([s, c, 0]), np.array([0, 0, 1.0]); cx, cy = (W - 1)/2, (H - 1)/2
    m = p["mmpp"]; bx, by = p["centre_px"] or ((cx, cy*0.84) if p["kind"] == "span" else (0.39*W, 0.42*H))
    p0 = e1*(cx - bx)*m + e2*(cy - by)*m      # scene origin falls on (bx, by)
    if state == "b": p0 = p0 + np.array([*p["nudge"], 0])
    return e1, e2, e3, p0, cx, cy
def matrix(p, state="a"):
    e1, e2, e3, p0, cx, cy = cam(p, state); D, m = p["D"], p["mmpp"]; g = D/m
    row = lambda e: np.append(e, -e@p0); d = np.append(-e3, D + e3@p0)
    return np.stack([g*row(e1) + cx*d, g*row(e2) + cy*d, d])
def proj(M, x): v = M@np.append(np.asarray(x, float), 1); return v[:2]/v[2]
def render(name, p, scene, state="a"):
    W, H = p["size"]; e1, e2, e3, p0, _, _ = cam(p, state); sub, ap, led = rr.plan(p["passes"]); acc = np.zeros((H, W, 3)); D = p["D"]; m = p["mmpp"]
    rng = np.random.default_rng(3)
    scene = "\n".join(["#version 3.7; global_settings{assumed_gamma 1.0 max_trace_level 4}", f"plane{{z,-9 {texd(p,'fine',51,p['a_back'],30,(1,1),0)}}}", scene, rule(p)])
    for i in range(p["passes"]):
        a = (e1*ap[i, 0] + e2*ap[i, 1])*p["aperture"]; zf = D - p["focus"]; c = p0 + D*e3 + a; kf = zf/D
        d = -zf*e3 - a + (e1*sub[i, 0] + e2*sub[i, 1])*m*kf; v = lambda x: "<%.9f,%.9f,%.9f>" % tuple(x); lights = []
        for j in range(4):
            th = 2*math.pi*(led[i] + 8*j)/32; L = np.array([p0[0], p0[1], 0]) + p["ring_r"]*(math.cos(th)*e1 + math.sin(th)*e2) + p["ring_z"]*e3
            lights.append(f"light_source{{{v(L)} rgb {0.25*(1+p['uneven']*math.cos(th-math.radians(p['uneven_dir']))):.5f}}}")
        open(f"{WORK}/{name}.pov", "w").write(scene + "\n" + "\n".join(lights) + f"\ncamera{{perspective location {v(c)} direction {v(d)} right {v(e1*W*m*kf)} up {v(-e2*H*m*kf)}}}\n")
        out = f"{WORK}/{name}.png"
        r = subprocess.run(["povray", f"+I{WORK}/{name}.pov", f"+O{out}", f"+W{W}", f"+H{H}", "-A", "-D", "+WT1", "-GA", "File_Gamma=1.0", "Bits_Per_Color=16", "Output_File_Type=N"], capture_output=True, text=True)
        if r.returncode: raise SystemExit(r.stderr[-3000:])
        acc += cv2.imread(out, -1)[..., ::-1].astype(float)/65535
    os.remove(out); return acc/p["passes"]
r3 = lambda v: [round(float(t), 3) for t in v]
def scale_truth(p, M):
    W, H = p["size"]; ex, ey = rule_frame(p); q = []
    for k, x, l in ticks(p):
        t = proj(M, [*(ey*(p["rule_y"] + 0.5) + ex*x), p["rule_z"]])
        if 0 <= t[0] <= W - 1 and 0 <= t[1] <= H - 1: q.append(t)
    return dict(division_mm=p["division"], true_tick_pitch_mm=p["division"], longer_every=5, longest_every=10, line_width_mm=RULES[p["division"]][0], plane_z_mm=p["rule_z"],
        angle_deg=p["rule_angle"] + p["roll"], ticks_visible=len(q), labels=p["label"], first_tick_px=r3(q[0]), last_tick_px=r3(q[-1]), px_per_division=round(p["division"]/(p["mmpp"]*(p["D"] - p["rule_z"])/p["D"]), 4))
def base_truth(name, p, M, files):
    Hm = M[:, [0, 1, 3]]
    return dict(id=name, kind=p["kind"], files=files, note=p["note"], size_px=list(p["size"]), expect=p["expect"], mm_per_px=p["mmpp"], mm_per_px_constant=True,
        H_plane_z0_mm_to_px=(Hm/Hm[2, 2]).tolist(), P_3x4_mm_to_px=M.tolist(), scale=scale_truth(p, M),
        camera=dict(model="perspective", distance_mm=p["D"], tilt_deg=0.0, tilt_dir_deg=None, roll_deg=p["roll"], lens_distortion=0, aperture_radius_mm=p["aperture"], focus_offset_mm=p["focus"]),
        sensor={k: p[k] for k in ("blur", "vignette", "expose", "sharpen", "jpeg", "cast", "well", "read")})
def save(t):
    path = f"{HERE}/truth.json"
    import fcntl
    with open(path + ".lock", "w") as lk:
        fcntl.flock(lk, fcntl.LOCK_EX)
        doc = json.load(open(path)) if os.path.exists(path) else dict(version=1, images=[])
        doc["images"] = sorted([i for i in doc["images"] if i["id"] != t["id"]] + [t], key=lambda i: i["id"])
        json.dump(doc, open(path + ".new", "w"), indent=1, default=float); os.rename(path + ".new", path)
def do(name, own):
    pair = own.get("kind") == "pair"; p = {**BASE, **(PAIR if pair else {}), **own}; bad = set(own) - set(BASE)
    if bad: raise SystemExit(bad)
    if not pair:
        M = matrix(p); sc, bushes = span_scene(name, p); f = f"{WORK}/{name}.npy"
        lin = render(name, p, sc); noise = rr.develop("span_" + name, p, lin)
        ext, Ls, ang, J, e = chain(name, p); pins = J[1:-1]; P = p["pitch"]
        types = ext[1:-1]
        if p["bush_only"]:   # bushes listed pairwise along inner links
            B = [b for b, z in bushes]; B = [b for b in B if 40 < proj(M, [*b, 0])[0] < p["size"][0] - 40 and 40 < proj(M, [*b, 0])[1] < p["size"][1] - 40]
            pts = np.array(B); allb = [tuple(b) for b, z in bushes]; i0 = allb.index(tuple(pts[0])); types = [("inner", "outer")[(i0 + i) % 2] for i in range(len(pts) - 1)]
            zf = 0.03
        else: pts = pins; zf = 0.0
        pit = np.hypot(*np.diff(pts, axis=0).T); t = base_truth(name, p, M, [f"span_{name}.jpg"])
        out = [x for x, ty in zip(pit, types) if ty == "outer"]; inn = [x for x, ty in zip(pit, types) if ty == "inner"]; n = len(pit)
        inframe = [proj(M, [*b, z]) for b, z in bushes]
        t.update(nominal_pitch_mm=P, n_pitches=n, n_pins=n + 1, pin_head_diameter_mm=p["head"], pitch_mm=[round(float(x), 4) for x in pit], pitch_link_type=types, pin_px=[r3(proj(M, [*x, zf])) for x in pts],
            sum_of_pitches_mm=round(float(pit.sum()), 4), span_end_to_end_mm=round(float(np.hypot(*(pts[-1] - pts[0]))), 4), mean_pitch_outer_plate_mm=float(np.mean(out)), mean_pitch_inner_mm=float(np.mean(inn)),
            elongation_percent_all=round(100*(pit.sum()/n/P - 1), 4), elongation_percent_balanced=round(100*((np.mean(out) + np.mean(inn))/2/P - 1), 4),
            chain_direction_deg=p["chain_angle"] + p["roll"], sag_end_link_angle_deg=p["sag"], pin_head_rim_plane_z_mm=zf, outer_plate_plane_z_mm=p["plate_top"], rule_plane_z_mm=p["rule_z"],
            rule_mm_per_px=p["mmpp"]*(p["D"] - p["rule_z"])/p["D"], open_bush_ends_in_frame=sum(0 < q[0] < p["size"][0] and 0 < q[1] < p["size"][1] for q in inframe),
            open_bush_px=[r3(q) for q in inframe], bush_only=p["bush_only"], noise_sigma_8bit=round(noise, 2), pins_in_frame=n + 1)
        save(t)
    else:
        Ma, Mb = matrix(p, "a"), matrix(p, "b"); t = base_truth(name, p, Ma, [f"pair_{name}a.jpg", f"pair_{name}b.jpg"])
        for st in "ab":
            sc, _ = pair_scene(name, p, st); lin = render(name + st, p, sc, st); rr.develop(f"pair_{name}{st}", p, lin)
        Ha, Hb = Ma[:, [0, 1, 3]], Mb[:, [0, 1, 3]]; A = Hb@np.linalg.inv(Ha)
        da, db = pair_inner(p, "a")[0], pair_inner(p, "b")[0]
        t.update(H_plane_z0_mm_to_px_b=(Hb/Hb[2, 2]).tolist(), scale_b=scale_truth({**p, "roll": p["roll"]}, Mb), play_mm=p["play"], pull_direction_deg=p["pull"] + p["roll"], inner_link_plane_z_mm=p["inner_z"],
            outer_plate_and_scale_plane_z_mm=0.0, apparent_play_in_scale_plane_mm=round(p["play"]*p["D"]/(p["D"] - p["inner_z"]), 5), pin_head_diameter_mm=p["head"], camera_nudge_mm=list(p["nudge"]), camera_nudge_roll_deg=p["nroll"],
            H_a_to_b_px_outer_plane=(A/A[2, 2]).tolist(), inner_link_swing_deg=p["swing"], pin_centre_px_a=r3(proj(Ma, [0, 0, 0])), pin_centre_px_b=r3(proj(Mb, [0, 0, 0])),
            inner_joint_centre_px_a=r3(proj(Ma, [*da, p["inner_z"]])), inner_joint_centre_px_b=r3(proj(Mb, [*db, p["inner_z"]])))
        save(t)
    print(name, "done", flush=True)
if __name__ == "__main__":
    from psets import SETS
    for n in sys.argv[1:]: do(n, SETS[n])
