#!/usr/bin/python3
"""Half-level edges (linear light) of bore and pin against truth, and tick centres; prints px and fitted-circle errors in um."""
import json, sys, math, numpy as np, cv2
from scipy.ndimage import map_coordinates, spline_filter
T = {i["id"]: i for i in json.load(open("truth.json"))["images"]}
def lin(y): y = y/255; return np.where(y <= .04045, y/12.92, ((y + .055)/1.055)**2.4)
def fit(q):
    A = np.c_[2*q, np.ones(len(q))]; s = np.linalg.lstsq(A, (q**2).sum(1), rcond=None)[0]
    return s[:2], math.sqrt(s[2] + s[0]**2 + s[1]**2)
for n in sys.argv[1:]:
    t = T[n]; P = np.array(t["P_3x4_mm_to_px"]); Pr = lambda x: (lambda v: v[:2]/v[2])(P@np.append(x, 1))
    for src in ("linear render", "jpg"):
        if src == "jpg": g = lin(cv2.imread(n + ".jpg")[..., 1].astype(float))
        else: g = cv2.GaussianBlur(np.load(f"work/{n}.npy")[..., 1].astype(np.float64), (0, 0), t["sensor"]["blur_sigma_px"])
        g = spline_filter(g, 3)
        ev = np.array(t["eccentricity_vec_mm_image_axes"]); out = {}
        rb, rp = t["bore_diameter_mm"]/2, t["pin_diameter_mm"]/2
        for which in ("bore", "pin"):
            z = t["pin_proud_mm"] if which == "pin" else 0.0
            r = rb if which == "bore" else rp - t["pin_chamfer_mm"]
            c = ev if which == "pin" else np.zeros(2); errs = []; pts = []; ang = []
            for a in np.arange(0, 360, 0.5):
                u = np.array([math.cos(math.radians(a)), math.sin(math.radians(a))])
                # local gap along this ray (unworn circles)
                b = ev@u; gapmm = rb - (b + math.sqrt(max(0, b*b - ev@ev + rp*rp)))
                gp = gapmm/t["mm_per_px"]
                if gp < 7: continue
                e = c + r*u; pe = Pr([*e, z]); pd = Pr([*(e + 0.001*u), z]) - pe; pd /= np.hypot(*pd)
                out_dir = pd if which == "bore" else -pd     # from gap into metal
                s = np.arange(-min(gp/2, 6), 8, 0.1); xy = pe + s[:, None]*out_dir
                v = map_coordinates(g, [xy[:, 1], xy[:, 0]], order=3, prefilter=False)
                lo = np.median(v[s < s[0] + 1.5]); hi = np.median(v[(s > 2.5) & (s < 7)]); h = (lo + hi)/2
                k = np.nonzero((v[:-1] < h) & (v[1:] >= h))[0]
                if len(k) == 0: continue
                k = k[np.argmin(np.abs(s[k]))]; q = s[k] + 0.1*(h - v[k])/(v[k+1] - v[k])
                errs.append(q); pts.append(pe + q*out_dir); ang.append(a)
            errs = np.array(errs)
            if len(errs) < 20: print(n, src, which, "too few", len(errs)); continue
            cf, rf = fit(np.array(pts)); tr = Pr([*c, z])
            print(f"{n} {src:13s} {which:4s} n={len(errs)} edge error into metal mean {errs.mean():+.3f} sd {errs.std():.3f} range {errs.min():+.2f}..{errs.max():+.2f} px | fitted centre {cf[0]-tr[0]:+.3f},{cf[1]-tr[1]:+.3f} px radius {rf - r/t['mm_per_px']*110/(110-z):+.3f} px")
        if "scale" in t:
            S = t["scale"]; a, b = np.array(S["first_tick_px"]), np.array(S["last_tick_px"]); m = S["ticks_visible"]; w = S["line_width_mm"]/t["mm_per_px"]; er = []
            u = (b - a)/np.hypot(*(b - a)); H = np.array(t["H_plane_z0_mm_to_px"]); Hi = np.linalg.inv(H)
            mm = [(lambda v: v[:2]/v[2])(Hi@np.append(p, 1)) for p in (a, b)]
            for i in range(1, m - 1):
                c = Pr([*(mm[0] + (mm[1] - mm[0])*i/(m - 1)), 0]); s = np.arange(-w*1.6, w*1.6, .1)
                xy = c + s[:, None]*u; v = map_coordinates(g, [xy[:, 1], xy[:, 0]], order=3, prefilter=False)
                d = np.clip(np.percentile(v, 90)*0.9 - v, 0, None); er.append((d*s).sum()/d.sum())
            print(f"{n} {src:13s} ticks n={len(er)} centre error mean {np.mean(er):+.3f} sd {np.std(er):.3f} px")
