#!/usr/bin/python3
"""End-on chain joints rendered with POV-Ray, with known truth.

World axes: x right, y down (image sense), z towards the camera, mm, origin = bore axis at z = 0.
Each photo is the mean of 8 or 16 linear renders; each takes its own sub-pixel place, its own
place of the lens aperture and one group of LEDs of the ring, so edges, depth of field and soft
shadows come out of the mean.
"""
import json, math, os, subprocess, sys, zlib
import numpy as np, cv2

HERE = os.path.dirname(os.path.abspath(__file__)); WORK = os.path.join(HERE, "work"); os.makedirs(WORK, exist_ok=True)
DEF = dict(size=(1600, 1200), mmpp=0.006, bore=3.6, pin=3.48, od=5.2, gap=0.005, pull=180.0,
           bore_px=None, wear=None, proud=0.0, chamfer=0.0, edge=0.0,
           division=0.1, labels=True, scale_y=2.84, scale_angle=0.0, scale_x0=None, scale_z=0.0, tick_phase=0.037,
           scale_from=-99.0, scale_to=99.0,
           plate_z=-0.12, plate_r=4.2, plate_w=3.4, plate_dir=180.0, joint=True, rule=True,
           a_plate=0.45, a_bush=0.72, a_pin=0.62, a_rule=0.75, a_wall=0.05, a_chamfer=0.6, a_back=0.03, a_edge=0.6, s_chamfer=0.6,
           tex_plate="streak", tex_bush="grain", tex_pin="grain", rot_plate=15, rot_bush=60, rot_pin=-35,
           contrast=1.0, spec=0.15, rough=0.08, ring_r=45.0, ring_z=75.0, uneven=0.0, uneven_dir=0.0,
           tilt=0.0, tilt_dir=0.0, aperture=2.2, focus=0.0, oil=0,
           blur=0.67, vignette=0.15, expose=0.70, sharpen=0.0, jpeg=90, cast="neutral", well=5000, read=3.0,
           veil=0.0, gain=1.0, motion=None, post_defocus=0.0, passes=8, gradient=0.0, gradient_dir=0.0, expect="measure", note="")
CAST = dict(neutral=(1, 1, 1), warm=(1.04, 1.0, 0.90), cool=(0.93, 0.99, 1.07))

# ---------- textures -------------------------------------------------------------------------
def texture(kind, seed, contrast):
    path = f"{WORK}/tex_{kind}_{seed}_{contrast:.2f}.png"
    if os.path.exists(path): return path
    n = 2048; rng = np.random.default_rng(seed)
    f = np.fft.fftfreq(n)
    fx, fy = np.meshgrid(f, f)
    def noise(lx, ly):  # Gaussian noise of correlation lengths lx, ly px, unit sd, periodic
        g = np.fft.fft2(rng.standard_normal((n, n))) * np.exp(-2*(np.pi**2)*((fx*lx)**2 + (fy*ly)**2))
        g = np.fft.ifft2(g).real
        return g/g.std()
    if kind == "streak":
        t = 0.10*noise(250, 0.9) + 0.10*noise(350, 3) + 0.08*noise(250, 9) + 0.04*noise(80, 0.8) + 0.03*noise(60, 60) + 0.015*noise(.8, .8)
    elif kind == "fine":
        t = 0.035*noise(500, 0.8) + 0.02*noise(500, 4) + 0.01*noise(1, 1) + 0.02*noise(80, 80)
    elif kind == "pits":
        t = 0.05*noise(14, 1.3) + 0.05*noise(2, 1.2) - 0.11*np.clip(noise(6, 1.8) - 1.1, 0, None) + 0.03*noise(40, 40) + 0.03*noise(.8, .8)
    else:
        a = noise(9, 1.6); b = noise(4, 1.2)
        t = 0.07*a - 0.08*np.clip(noise(7, 2.2) - 0.9, 0, None) + 0.05*b + 0.02*noise(50, 50) + 0.03*noise(1, 1)
    img = 1 + contrast*t
    if kind != "fine":  # a few scratches, bright or dark
        s = np.zeros((n, n), np.float32)
        for _ in range(7):
            p = rng.uniform(0, n, 2); d = rng.normal(0, 350, 2)
            cv2.line(s, tuple(int(16*v) for v in p), tuple(int(16*v) for v in p + d), float(rng.choice([-.2, .25])), 1, cv2.LINE_AA, 4)
        img += contrast*cv2.GaussianBlur(s, (0, 0), 0.8)
    new = f"{path}.{os.getpid()}.png"   # whole or not at all, for renders side by side
    cv2.imwrite(new, np.clip(img*150 + 0.5, 0, 255).astype(np.uint8)); os.replace(new, path)
    return path

def tex(p, kind, seed, albedo, rot, spec=None, contrast=None):
    png = texture(kind, seed, p["contrast"] if contrast is None else contrast)
    s = p["spec"] if spec is None else spec
    k = albedo*255/150
    c, sn = math.cos(math.radians(rot)), math.sin(math.radians(rot))
    return (f"texture{{pigment{{image_map{{png \"{png}\" gamma 1.0 map_type 0 interpolate 2}} scale 12 "
            f"matrix<{c:.9f},{sn:.9f},0,{-sn:.9f},{c:.9f},0,0,0,1,0.37,0.21,0>}} "
            f"finish{{ambient 0 emission 0 diffuse {k:.5f} specular {s*albedo:.5f} roughness {p['rough']} }}}}")

def plain(albedo, spec=0.0, rough=0.1, rgb=(1, 1, 1)):
    return f"texture{{pigment{{rgb<{rgb[0]},{rgb[1]},{rgb[2]}>}} finish{{ambient 0 emission 0 diffuse {albedo:.5f} specular {spec:.5f} roughness {rough}}}}}"

# ---------- scale ----------------------------------------------------------------------------
RULES = {0.1: (0.022, 0.46, 0.70, 1.05), 0.5: (0.06, 0.95, 1.40, 1.90), 1.0: (0.11, 1.15, 1.65, 2.2)}

def rule_frame(p):
    a = math.radians(p["scale_angle"])
    ex = np.array([math.cos(a), math.sin(a)]); ey = np.array([-math.sin(a), math.cos(a)])
    o = ey*p["scale_y"]          # foot of the perpendicular from the bore axis on the rule's edge
    return o, ex, ey

def rule_scene(p, rng):
    if not p["rule"]: return ""
    div = p["division"]; w, l1, l5, l10 = RULES[div]
    o, ex, ey = rule_frame(p); z = p["scale_z"]
    out = ["union{", f"box{{<{max(-40,p['scale_from'])},0,-0.6>,<{min(40,p['scale_to'])},9,0> {tex(p,'fine',41,p['a_rule'],0,contrast=1)}}}", "union{"]
    for k in range(-300, 301):
        x = p["tick_phase"] + k*div
        if abs(x) > 14 or x - w < p["scale_from"] or x + w > p["scale_to"]: continue
        l = l10 if k % 10 == 0 else l5 if k % 5 == 0 else l1
        out.append(f"box{{<{x-w/2:.6f},0.012,-0.01>,<{x+w/2:.6f},{l},0.0004>}}")
        if p["labels"] and k % 10 == 0:
            n = {0.1: k + 60, 0.5: (k + 30)//2, 1.0: k + 10}[div]
            h = {0.1: 0.55, 0.5: 0.8, 1.0: 0.9}[div]
            s = str(n)
            out.append(f"text{{ttf \"/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf\" \"{s}\" 0.01,0 scale<{h},{-h},0.05> translate<{x-0.318*h*len(s):.4f},{l+0.12+0.73*h:.4f},0>}}")
    out.append(plain(0.045, 0) + " no_shadow}")
    out.append(f"matrix<{ex[0]:.9f},{ex[1]:.9f},0,{ey[0]:.9f},{ey[1]:.9f},0,0,0,1,{o[0]:.6f},{o[1]:.6f},{z}>}}")
    return "\n".join(out)

# ---------- joint ----------------------------------------------------------------------------
def geometry(p):
    rb, rp, d = p["bore"]/2, p["pin"]/2, (p["wear"] or {}).get("depth_mm", 0.0)
    w = p["wear"]; u = np.array([math.cos(math.radians(p["pull"])), math.sin(math.radians(p["pull"]))])
    towards = bool(w) and abs((w["direction_deg"] - p["pull"] + 180) % 360 - 180) < 1
    e = rb - rp - p["gap"] + (d if towards else 0.0)
    return rb, rp, d, u, e*u, towards

def worn_by(w):
    """Depth of the wear of bore and of pin; of both, "share" is the pin's part."""
    if not w: return 0.0, 0.0
    s = {"bore": 0.0, "pin": 1.0}.get(w["where"], w.get("share", 0.5))
    return (1 - s)*w["depth_mm"], s*w["depth_mm"]

def joint_scene(p):
    if p["joint"] == "plate": return plate_scene(p, False)
    rb, rp, d, u, ev, _ = geometry(p); w = p["wear"]; D = 6.0
    face, wall = tex(p, p["tex_bush"], 11, p["a_bush"], p["rot_bush"]), plain(p["a_wall"], 0)
    bore = [f"cylinder{{<0,0,{-D-1}>,<0,0,1>,{rb} {wall}}}"]
    if p["edge"] > 0:
        b = p["edge"]; bore.append(f"cone{{<0,0,{-b}>,{rb},<0,0,{b}>,{rb+2*b} {plain(p['a_edge'],0.5,0.1)}}}")
    wv = None
    if w:
        wv = np.array([math.cos(math.radians(w["direction_deg"])), math.sin(math.radians(w["direction_deg"]))])
    db, dp = worn_by(w); both = bool(w) and w["where"] == "both"
    pocket, flank = ((rb + rp)/2, (rb + rp)/2) if both else (rp, rb)   # of one radius, so that they fit each other
    if db > 0:
        c = (rb - pocket + db)*wv; bore.append(f"cylinder{{<{c[0]},{c[1]},{-D-1}>,<{c[0]},{c[1]},1>,{pocket} {wall}}}")
    s = [f"difference{{cylinder{{<0,0,{-D}>,<0,0,0>,{p['od']/2} {face}}} union{{{' '.join(bore)}}} }}"]
    # pin
    z, ch = p["proud"], p["chamfer"]
    pf = tex(p, p["tex_pin"], 23, p["a_pin"], p["rot_pin"])
    parts = [f"cylinder{{<0,0,{-D-2}>,<0,0,{z+1}>,{rp} {plain(p['a_wall'],0)}}}", f"plane{{z,{z} {pf}}}"]
    if ch > 0: parts.append(f"cone{{<0,0,{z+1}>,{rp-ch-1},<0,0,{z-20}>,{rp-ch+20} {plain(p['a_chamfer'],p['s_chamfer'],0.12)}}}")
    if dp > 0:
        c = (rp - dp - flank)*wv; parts.append(f"cylinder{{<{c[0]},{c[1]},{-D-2}>,<{c[0]},{c[1]},{z+1}>,{flank} {plain(p['a_wall'],0)}}}")
    s.append(f"intersection{{{' '.join(parts)} bounded_by{{box{{<{-rp-.01},{-rp-.01},{-D-2.01}>,<{rp+.01},{rp+.01},{z+.01}>}}}} translate<{ev[0]:.6f},{ev[1]:.6f},0>}}")
    s.append(plate_scene(p, True))
    return "\n".join(s)

def plate_scene(p, hole):
    # plate, milled off along the rule
    a = p["plate_dir"]; c, sn = math.cos(math.radians(a)), math.sin(math.radians(a)); zt = p["plate_z"]
    pt = tex(p, p["tex_plate"], 31, p["a_plate"], p["rot_plate"])
    cut = ""
    if p["rule"]:
        o, ex, ey = rule_frame(p)
        cut = f"box{{<-60,-0.07,-9>,<60,60,9> {plain(.05)} matrix<{ex[0]:.9f},{ex[1]:.9f},0,{ey[0]:.9f},{ey[1]:.9f},0,0,0,1,{o[0]:.6f},{o[1]:.6f},0>}}"
    drill = f"cylinder{{<0,0,{zt-2}>,<0,0,1>,{p['od']/2+0.010} {plain(0.02)}}}" if hole else ""
    return (f"difference{{union{{cylinder{{<0,0,{zt-1.5}>,<0,0,{zt}>,{p['plate_r']}}} box{{<0,{-p['plate_w']},{zt-1.5}>,<40,{p['plate_w']},{zt-0.0003}> matrix<{c:.9f},{sn:.9f},0,{-sn:.9f},{c:.9f},0,0,0,1,0,0,0>}} {pt}}} "
             f"{drill} {cut}}}")

def oil_scene(p, rng):
    s = []
    for i in range(p["oil"]):
        a = rng.uniform(0, 2*math.pi); on_rule = p["rule"] and i % 4 == 3
        R = rng.choice([p["bore"]/2, p["bore"]/2, p["od"]/2])
        x, y = R*math.cos(a), R*math.sin(a)
        if on_rule:
            o, ex, ey = rule_frame(p); q = o + ex*rng.uniform(-3, 3) + ey*0.3; x, y = q
        r = rng.uniform(0.08, 0.28)
        balls = " ".join(f"sphere{{<{x+rng.normal(0,.4*r):.4f},{y+rng.normal(0,.4*r):.4f},0>,{r*rng.uniform(.6,1):.4f} scale<1,1,1>}}" for _ in range(5))
        s.append(f"union{{{balls} scale<1,1,0.12> translate<0,0,{max(0,p['proud']):.3f}> pigment{{rgbft<0.75,0.55,0.2,0.75,0>}} finish{{ambient 0 emission 0 diffuse 0.25 specular 0.8 roughness 0.002}} no_shadow}}")
    return "\n".join(s)

# ---------- camera ---------------------------------------------------------------------------
def camera(p):
    W, H = p["size"]; m = p["mmpp"]
    t, f = math.radians(p["tilt"]), math.radians(p["tilt_dir"])
    k = np.array([-math.sin(f), math.cos(f), 0])  # z x (cos f, sin f, 0): turns z towards the tilt direction
    K = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    R = np.eye(3) + math.sin(t)*K + (1 - math.cos(t))*K@K
    e1, e2, e3 = R[:, 0], R[:, 1], R[:, 2]
    cx, cy = (W - 1)/2, (H - 1)/2
    bx, by = p["bore_px"] or (cx - 30, H*0.40)
    p0 = np.array([(cx - bx)*m, (cy - by)*m, 0.0])   # plane point seen at the picture's centre
    return e1, e2, e3, p0, cx, cy

def matrix(p):
    e1, e2, e3, p0, cx, cy = camera(p); D, m = 110.0, p["mmpp"]
    g = D/m
    def row(e): return np.append(e, -e@p0)
    d = np.append(-e3, D + e3@p0)
    return np.stack([g*row(e1) + cx*d, g*row(e2) + cy*d, d])

def project(P, xyz):
    v = P@np.append(np.asarray(xyz, float), 1); return v[:2]/v[2]

# ---------- render ---------------------------------------------------------------------------
def plan(n):
    """Sub-pixel place, aperture place and LED group of each of 8 or 16 passes, paired so that they do not correlate."""
    k = np.arange(n)
    sub = np.stack([(k - 3.5)/8, ((3*k) % 8 - 3.5)/8], 1) if n == 8 else np.stack([(k % 4 - 1.5)/4, (k//4 - 1.5)/4], 1)
    r = np.sqrt((k + .5)/n); a = k*2.399963
    ap = np.stack([r*np.cos(a), r*np.sin(a)], 1); ap -= ap.mean(0); ap *= math.sqrt(0.5/np.mean((ap**2).sum(1)))
    led = k % 8; lv = np.stack([np.cos(led*math.pi/4), np.sin(led*math.pi/4)], 1)
    rng = np.random.default_rng(5); best = None
    for _ in range(6000):
        q, l = rng.permutation(n), rng.permutation(n)
        c = np.abs(sub.T@ap[q]).sum()*4 + np.abs(sub.T@lv[l]).sum()*3 + np.abs(ap[q].T@lv[l]).sum()
        if best is None or c < best[0]: best = (c, q, l)
    _, q, l = best
    return sub, ap[q], led[l]

def render(name, p):
    W, H = p["size"]; rng = np.random.default_rng(zlib.crc32(name.encode()))
    e1, e2, e3, p0, _, _ = camera(p)
    scene = "\n".join(["#version 3.7; global_settings{assumed_gamma 1.0 max_trace_level 4}",
        f"plane{{z,-7 {tex(p,'fine',51,p['a_back'],30,spec=0,contrast=2)}}}", joint_scene(p), rule_scene(p, rng), oil_scene(p, rng)])
    sub, ap, led = plan(p["passes"]); acc = np.zeros((H, W, 3)); D = 110.0 
    for i in range(p["passes"]):
        a = (e1*ap[i, 0] + e2*ap[i, 1])*p["aperture"]; m = p["mmpp"]
        # the focus plane lies p.focus above the measuring plane; the window there keeps the pinhole mapping
        zf = D - p["focus"]; c = p0 + D*e3 + a
        kf = zf/D
        d = -zf*e3 - a + (e1*sub[i, 0] + e2*sub[i, 1])*m*kf
        v = lambda x: "<%.9f,%.9f,%.9f>" % tuple(x)
        lights = []
        for j in range(4):
            n = led[i] + 8*j; th = 2*math.pi*n/32
            L = np.array([p0[0], p0[1], 0]) + p["ring_r"]*(math.cos(th)*e1 + math.sin(th)*e2) + p["ring_z"]*e3
            g = 0.25*(1 + p["uneven"]*math.cos(th - math.radians(p["uneven_dir"])))
            lights.append(f"light_source{{{v(L)} rgb {g:.5f}}}")
        open(f"{WORK}/{name}.pov", "w").write(scene + "\n" + "\n".join(lights) +
            f"\ncamera{{perspective location {v(c)} direction {v(d)} right {v(e1*W*m*kf)} up {v(-e2*H*m*kf)}}}\n")
        out = f"{WORK}/{name}.png"
        r = subprocess.run(["povray", f"+I{WORK}/{name}.pov", f"+O{out}", f"+W{W}", f"+H{H}", "-A", "-D", "+WT1", "-GA",
                            "File_Gamma=1.0", "Bits_Per_Color=16", "Output_File_Type=N"], capture_output=True, text=True)
        if r.returncode: raise SystemExit(r.stderr[-3000:])
        acc += cv2.imread(out, -1)[..., ::-1].astype(float)/65535
    os.remove(out)
    lin = acc/p["passes"]
    np.save(f"{WORK}/{name}.npy", lin.astype(np.float32))
    return lin

# ---------- camera chip ----------------------------------------------------------------------
def srgb(x): return np.where(x <= 0.0031308, 12.92*x, 1.055*np.clip(x, 1e-9, None)**(1/2.4) - 0.055)

def disc(rad):
    n = int(math.ceil(rad)) + 1; s = np.arange(-n, n + 1)
    X, Y = np.meshgrid(s, s); k = np.clip(rad + 0.5 - np.hypot(X, Y), 0, 1); return (k/k.sum()).astype(np.float32)

def develop(name, p, lin):
    W, H = p["size"]; rng = np.random.default_rng(zlib.crc32((name + "noise").encode()))
    x = lin.astype(np.float32); x = x/np.percentile(x[..., 1], 97)*p["expose"]*p["gain"] 
    X, Y = np.meshgrid(np.linspace(-1, 1, W), np.linspace(-1, 1, H)*H/W)
    x = x*(1 - p["vignette"]*(X**2 + Y**2)/(1 + (H/W)**2))[..., None].astype(np.float32)
    g = p["gradient"]*(X*math.cos(math.radians(p["gradient_dir"])) + Y*math.sin(math.radians(p["gradient_dir"])))
    x = x*np.exp(g)[..., None].astype(np.float32)   # a lamp off to one side
    x = x*np.array(CAST[p["cast"]], np.float32) + p["veil"]
    if p["post_defocus"]: x = cv2.filter2D(x, -1, disc(p["post_defocus"]/2), borderType=cv2.BORDER_REPLICATE)
    if p["motion"]:
        L, a = p["motion"]; n = 2*int(L) + 1; k = np.zeros((n, n), np.float32)
        for s in np.linspace(-L/2, L/2, 400):
            cx, cy = n//2 + s*math.cos(math.radians(a)), n//2 + s*math.sin(math.radians(a))
            ix, iy = int(cx), int(cy); fx, fy = cx - ix, cy - iy
            k[iy:iy+2, ix:ix+2] += np.outer([1-fy, fy], [1-fx, fx])
        x = cv2.filter2D(x, -1, k/k.sum(), borderType=cv2.BORDER_REPLICATE)
    x = cv2.GaussianBlur(x, (0, 0), p["blur"], borderType=cv2.BORDER_REPLICATE)
    e = np.clip(x, 0, None)*p["well"]
    n = (rng.poisson(e) + rng.normal(0, p["read"], e.shape))/p["well"]
    y = srgb(np.clip(n, 0, 1)); clean = srgb(np.clip(x, 0, 1))
    noise = float(np.std((y - clean)[..., 1])*255)
    if p["sharpen"]: y = y + p["sharpen"]*(y - cv2.GaussianBlur(y, (0, 0), 1.2))
    img = np.clip(y*255 + 0.5, 0, 255).astype(np.uint8)
    cv2.imwrite(f"{HERE}/{name}.jpg", img[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, p["jpeg"]])
    return noise

# ---------- truth ----------------------------------------------------------------------------
def truth(name, p, noise):
    P = matrix(p); Hm = P[:, [0, 1, 3]]; W, H = p["size"]
    rb, rp, d, u, ev, towards = geometry(p); r3 = lambda v: [round(float(t), 3) for t in v]
    t = dict(id=name, kind="bore" if p["expect"] == "measure" else "bad", files=[name + ".jpg"], note=p["note"], size_px=[W, H], expect=p["expect"],
             mm_per_px=p["mmpp"], mm_per_px_constant=p["tilt"] == 0,
             H_plane_z0_mm_to_px=(Hm/Hm[2, 2]).tolist(), P_3x4_mm_to_px=P.tolist())
    if p["expect"] != "measure": t["as_kind"] = "bore"
    if p["rule"]:
        div = p["division"]; w, l1, _, _ = RULES[div]; o, ex, ey = rule_frame(p); ticks = []
        for k in range(-300, 301):
            x = p["tick_phase"] + k*div
            if abs(x) > 14 or x - w < p["scale_from"] or x + w > p["scale_to"]: continue
            q = project(P, [*(o + ex*x + ey*l1/2), p["scale_z"]])
            if 0 <= q[0] <= W - 1 and 0 <= q[1] <= H - 1: ticks.append(q)
        t["scale"] = dict(division_mm=div, true_tick_pitch_mm=div, longer_every=5, longest_every=10, line_width_mm=w, plane_z_mm=p["scale_z"],
                          angle_deg=p["scale_angle"], ticks_visible=len(ticks), labels=p["labels"],
                          first_tick_px=r3(ticks[0]) if ticks else None, last_tick_px=r3(ticks[-1]) if ticks else None, px_per_division=round(div/p["mmpp"], 4))
    t["camera"] = dict(model="perspective", distance_mm=110.0, tilt_deg=p["tilt"], tilt_dir_deg=p["tilt_dir"] if p["tilt"] else None, roll_deg=0.0,
                       lens_distortion=0, aperture_radius_mm=p["aperture"], focus_offset_mm=p["focus"],
                       defocus_circle_diam_px=round(2*p["aperture"]*abs(p["focus"])/(110 - p["focus"])/p["mmpp"] + p["post_defocus"], 2))
    t["sensor"] = dict(blur_sigma_px=p["blur"], vignette=p["vignette"], expose=p["expose"], sharpen=p["sharpen"], jpeg_quality=p["jpeg"], cast=p["cast"],
                       noise_sigma_8bit=round(noise, 2), full_well_e=p["well"], read_e=p["read"], gain=p["gain"], veil=p["veil"], motion_px_deg=p["motion"])
    t["light"] = dict(ring_radius_mm=p["ring_r"], ring_height_mm=p["ring_z"], uneven=p["uneven"], uneven_dir_deg=p["uneven_dir"], gradient_log_per_half_width=p["gradient"], gradient_dir_deg=p["gradient_dir"])
    if p["joint"] is True:
        cl = p["bore"] - p["pin"]; e = float(np.hypot(*ev))
        t.update(bore_diameter_mm=p["bore"], pin_diameter_mm=p["pin"], bush_od_mm=p["od"], clearance_diametral_mm=round(cl, 6),
                 eccentricity_vec_mm_image_axes=[round(float(v), 4) for v in ev], eccentricity_mm=round(e, 4),
                 bore_centre_px=r3(project(P, [0, 0, 0])), pin_centre_px=r3(project(P, [*ev, 0])),
                 pin_end_centre_px=r3(project(P, [*ev, p["proud"]])), pin_end_mm_per_px=round(p["mmpp"]*(110 - p["proud"])/110, 8),
                 pull_direction_deg=p["pull"], play_along_pull_mm=round(cl + d, 6), max_gap_mm=round(cl + d - p["gap"], 6), min_gap_mm=p["gap"],
                 wear=p["wear"], pin_proud_mm=p["proud"], pin_chamfer_mm=p["chamfer"], bore_edge_break_mm=p["edge"], plate_z_mm=p["plate_z"])
    return {k: v for k, v in t.items()}

def main():
    from sets import SETS
    names = sys.argv[1:] or list(SETS)
    for name in names:
        own = dict(SETS[name]); src = own.pop("src", name)   # src: develop another photo's render anew
        p = {**DEF, **(SETS[src] if src != name else {}), **own}; unknown = set(own) - set(DEF)
        if unknown: raise SystemExit(f"{name}: {unknown}")
        f = f"{WORK}/{src}.npy"
        lin = np.load(f) if os.path.exists(f) else render(name, p)
        noise = develop(name, p, lin)
        path = f"{HERE}/truth.json"
        doc = json.load(open(path)) if os.path.exists(path) else dict(version=1, conventions=CONV, images=[])
        doc["conventions"] = CONV
        doc["images"] = sorted([i for i in doc["images"] if i["id"] != name] + [truth(name, p, noise)], key=lambda i: i["id"])
        tmp = path + ".new"; json.dump(doc, open(tmp, "w"), indent=1); os.rename(tmp, path)
        print(name, "noise %.2f" % noise, flush=True)

CONV = {
 "pixels": "pixel centres at integer coordinates, origin = centre of the top-left pixel, x right, y down",
 "lengths": "mm", "angles": "degrees, 0 = +x (right), positive towards +y (down)",
 "plane": "z towards the camera; z = 0 is the bush face and (scale.plane_z_mm = 0) the scale top",
 "mm_per_px": "at plane z = 0, exact for an untilted camera, at the picture's centre for a tilted one",
 "clearance_diametral_mm": "bore_diameter - pin_diameter of the unworn circles",
 "play_along_pull_mm": "clearance + wear depth",
 "eccentricity": "pin axis minus bore axis (axes of the unworn circles)",
 "pin_centre_px": "pin axis at z = 0; pin_end_centre_px = pin axis at the end face's height (differs for a proud pin)",
 "pin_chamfer_mm": "45 degree; the end face is smaller by this all round, the flank's full diameter begins this far below the end face",
 "encoding": "PSF blur and noise in linear light, then sRGB, then unsharp (if any), then JPEG",
}
if __name__ == "__main__": main()
