#!/usr/bin/python3
"""What camera, phone and hand do to a linear render: one or two effects a photo, then sRGB and JPEG.

    camera.py [--work FOLDER] [--only TEXT]     writes FOLDER/*.jpg and FOLDER/photos.json

Every effect has three levels. Lens, shutter and shake act on light before the chip; noise and mosaic on
the chip; denoising, sharpening, tone and zoom after it; JPEG last. The truth of a photo is that of the
object in mm, whatever is done to its picture.
"""
import argparse, json, math, os, sys, zlib
import numpy as np, cv2
sys.dont_write_bytecode = True
import scenes as S

LEVELS = ("mild", "medium", "strong")
EFFECTS = ("vignette", "motion", "shake", "shutter", "lens", "defocus", "noise", "denoise", "sharpen", "zoom", "bayer", "jpeg", "over", "under", "tone", "screenshot")
# what a careful user's camera still does, at its mild level
GOOD = ("none", "vignette", "sharpen", "bayer", "tone", "over", "under", "denoise", "jpeg")
BASE = dict(expose=0.7, well=4000.0, read=3.0, quality=90)


def pixels(h, w):
    y, x = np.mgrid[0:h, 0:w].astype(np.float32); return x, y

def warp(img, x, y):
    return np.clip(cv2.remap(img, x, y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE), 0, None)

def along(path):
    """The kernel of a camera that moves along path (px), its mean place at 0."""
    path = path - path.mean(0); n = 2*int(np.abs(path).max() + 2) + 1; k = np.zeros((n, n), np.float32)
    for x, y in path + n//2:
        i, j = int(x), int(y); f, g = x - i, y - j
        k[j:j+2, i:i+2] += np.outer([1-g, g], [1-f, f])
    return k/k.sum()

def filtered(img, k): return cv2.filter2D(img, -1, k, borderType=cv2.BORDER_REPLICATE)


# Each draws its strength for the level (0, 1, 2), notes it in the photo's record, and returns what it does.
def settings(effect, level, g):
    u, pick = g.uniform, lambda *a: a[g.integers(len(a))]
    span = lambda *r: float(u(*r[level]))
    sign = pick(-1, 1)
    return {
        "none": lambda: {},
        "vignette": lambda: dict(share=span((0.2, 0.35), (0.35, 0.55), (0.55, 0.8))),
        "motion": lambda: dict(px=span((3, 5), (5, 10), (10, 20)), deg=u(0, 180)),
        "shake": lambda: dict(px=span((3, 5), (5, 10), (10, 20)), bend=[float(v) for v in u(-0.7, 0.7, 4)], deg=u(0, 360)),
        "shutter": lambda: dict(skew_px=sign*span((0.5, 2), (2, 5), (5, 10)), wobble_px=span((0, 0.3), (0.3, 1), (1, 3)), period=u(0.2, 1.0)),
        "lens": lambda: dict(corner_percent=sign*span((0.3, 0.7), (0.7, 1.5), (1.5, 3))),
        "defocus": lambda: dict(px=span((1.5, 3), (3, 6), (6, 12))),
        "noise": lambda: dict(well=span((500, 900), (150, 400), (40, 120)), read=span((2, 5), (4, 8), (6, 12))),
        "denoise": lambda: dict(way=pick("means", "bilateral", "median"), strength=level, well=span((700, 1500), (250, 600), (80, 200)), read=4.0),
        "sharpen": lambda: dict(amount=span((0.4, 0.7), (0.8, 1.3), (1.5, 2.2)), radius=span((0.8, 1.2), (1, 2), (2, 3))),
        "zoom": lambda: dict(factor=span((1.3, 1.6), (1.8, 2.2), (2.6, 3.2)), way=pick("cubic", "lanczos", "nearest")),
        "bayer": lambda: dict(shift_px=span((0, 0.2), (0.3, 0.6), (0.6, 1.0)), deg=u(0, 360)),
        "jpeg": lambda: dict(quality=int(span((55, 70), (38, 52), (20, 34)))),
        "over": lambda: dict(gain=span((1.3, 1.6), (1.8, 2.4), (2.8, 4.5))),
        "under": lambda: dict(gain=span((0.4, 0.6), (0.12, 0.3), (0.03, 0.08))),
        "tone": lambda: dict(contrast=span((0.2, 0.4), (0.5, 0.8), (0.9, 1.2)), gamma=u(1 - 0.12*(level + 1), 1 + 0.12*(level + 1))),
        "screenshot": lambda: dict(factor=span((0.82, 0.95), (0.6, 0.8), (0.45, 0.6)) if g.random() < 0.7 else u(1.05, 1.45), way=("area", "linear", "nearest")[level]),
    }[effect]()

WAYS = dict(cubic=cv2.INTER_CUBIC, lanczos=cv2.INTER_LANCZOS4, nearest=cv2.INTER_NEAREST, area=cv2.INTER_AREA, linear=cv2.INTER_LINEAR)


def light(x, e):
    """Effects on the light that falls on the chip."""
    h, w = x.shape[:2]; X, Y = pixels(h, w); cx, cy = (w - 1)/2, (h - 1)/2
    if "lens" in e:
        k = e["lens"]["corner_percent"]/100; r2 = ((X - cx)**2 + (Y - cy)**2)/(cx**2 + cy**2); f = 1 + k*r2
        x = warp(x, cx + (X - cx)*f, cy + (Y - cy)*f)
    if "shutter" in e:
        s = e["shutter"]; t = Y/h - 0.5
        x = warp(x, X + s["skew_px"]*t + s["wobble_px"]*np.sin(2*math.pi*t/s["period"]).astype(np.float32), Y)
    if "motion" in e:
        s = e["motion"]; t = np.linspace(-0.5, 0.5, 400)*s["px"]; a = math.radians(s["deg"])
        x = filtered(x, along(np.stack([t*math.cos(a), t*math.sin(a)], 1)))
    if "shake" in e:   # a curved way, slower at its ends
        s = e["shake"]; t = np.sin(np.linspace(-math.pi/2, math.pi/2, 400)); b = s["bend"]; a = math.radians(s["deg"])
        q = np.stack([t, b[0]*t**2 + b[1]*t**3 + b[2]*np.sin(3*t)], 1); q *= s["px"]/np.ptp(q, axis=0).max()
        x = filtered(x, along(q@np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])))
    if "defocus" in e: x = filtered(x, S.R.disc(e["defocus"]["px"]/2))
    if "vignette" in e: x = x*(1 - e["vignette"]["share"]*((X - cx)**2 + (Y - cy)**2)/(cx**2 + cy**2))[..., None]
    return x

def chip(x, e, b, g):
    """The chip: sampling by a smaller one (digital zoom), noise, mosaic. Returns linear values, 1 = full well."""
    h, w = x.shape[:2]
    if "zoom" in e: x = cv2.resize(x, (round(w/e["zoom"]["factor"]), round(h/e["zoom"]["factor"])), interpolation=cv2.INTER_AREA)
    if "bayer" in e:   # red and blue are seen shifted: the lens breaks colours differently
        s = e["bayer"]; a = math.radians(s["deg"]); X, Y = pixels(*x.shape[:2]); x = x.copy()
        for c, k in ((0, 1), (2, -1)): x[..., c] = warp(np.ascontiguousarray(x[..., c]), X + k*s["shift_px"]*math.cos(a), Y + k*s["shift_px"]*math.sin(a))
    n = e.get("noise") or e.get("denoise") or b
    x = (g.poisson(np.clip(x, 0, 4)*n["well"]) + g.normal(0, n["read"], x.shape))/n["well"]
    x = np.clip(x, 0, 1)
    if "bayer" in e:
        m = np.empty(x.shape[:2]); m[0::2, 0::2] = x[0::2, 0::2, 0]; m[0::2, 1::2] = x[0::2, 1::2, 1]; m[1::2, 0::2] = x[1::2, 0::2, 1]; m[1::2, 1::2] = x[1::2, 1::2, 2]
        x = cv2.cvtColor((m*65535).astype(np.uint16), cv2.COLOR_BayerBG2RGB).astype(np.float64)/65535   # OpenCV names the pattern by its second row: red is first here
    return x

def develop(x, e, grey):
    """Values as they are coded: sRGB, then what firmware and apps do. 8 bits."""
    y = S.R.srgb(x)
    if "tone" in e:
        s = e["tone"]; y = np.clip(y, 0, 1)**s["gamma"]; k = 4*s["contrast"]
        y = (np.tanh(k*(y - 0.5))/math.tanh(k/2) + 1)/2
    if grey: y = (y@np.array([0.299, 0.587, 0.114]))[..., None]
    i = np.clip(y*255 + 0.5, 0, 255).astype(np.uint8)
    if i.shape[2] == 1: i = i[..., 0]
    if "denoise" in e:
        s = e["denoise"]; k = s["strength"]
        if s["way"] == "means": i = (cv2.fastNlMeansDenoising if i.ndim == 2 else lambda a, _, h, t, q: cv2.fastNlMeansDenoisingColored(a, None, h, h, t, q))(i, None, (4, 8, 14)[k], 5, 13)
        elif s["way"] == "bilateral": i = cv2.bilateralFilter(i, (5, 7, 9)[k], (15, 30, 60)[k], (1.5, 2.5, 4)[k])
        else: i = cv2.medianBlur(i, (3, 5, 5)[k])
    if "sharpen" in e:
        s = e["sharpen"]; f = i.astype(np.float32); i = np.clip(f + s["amount"]*(f - cv2.GaussianBlur(f, (0, 0), s["radius"])) + 0.5, 0, 255).astype(np.uint8)
    return i

def photo(lin, p, e, g):
    """The coded picture."""
    x = lin/np.percentile(lin[..., 1], 97)*BASE["expose"]*e.get("over", e.get("under", dict(gain=1.0)))["gain"]
    h, w = x.shape[:2]; X, Y = np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h)*h/w)
    a = math.radians(p["gradient_dir"])
    x = x*np.exp(p["gradient"]*(X*math.cos(a) + Y*math.sin(a)))[..., None]*np.array(S.R.CAST[p["cast"]])
    x = x*(1 - p["vignette"]*(X**2 + Y**2)/(1 + (h/w)**2))[..., None]
    x = light(x.astype(np.float32), e)
    x = cv2.GaussianBlur(x, (0, 0), p["blur"], borderType=cv2.BORDER_REPLICATE)
    i = develop(chip(x, e, BASE, g), e, p["grey"])
    if "zoom" in e: i = cv2.resize(i, (w, h), interpolation=WAYS[e["zoom"]["way"]])
    if "screenshot" in e:
        s = e["screenshot"]; i = cv2.resize(i, (round(w*s["factor"]), round(h*s["factor"])), interpolation=WAYS[s["way"]])
    return i


def plan():
    """Name -> scene and effects. Every scene plain; every effect at every level about as often; mild ones of careful scenes besides (two of them in a wide draw)."""
    every = S.scenes(); g = np.random.default_rng([S.DRAW, 0]); out = {}
    cells = [(e, l) for e in EFFECTS for l in range(3)]; deck = []
    def add(scene, effects):
        n = f"{scene}-{'+'.join(e for e, _ in effects)}-{'+'.join(LEVELS[l] for _, l in effects) if effects[0][0] != 'none' else ''}".rstrip("-")
        if n not in out: out[n] = dict(scene=scene, effects=effects)
    for n, p in every.items():
        add(n, [("none", 0)])
        if p["careful"]:
            for e in g.permutation(GOOD[1:])[:2] if S.WIDE else GOOD[1:]: add(n, [(str(e), 0)])
        for k in range(3 if S.WIDE else 10):
            if not deck: deck = [cells[i] for i in g.permutation(len(cells))]
            first = deck.pop()
            second = None
            if g.random() < 0.3:
                second = cells[g.integers(len(cells))]
                taken = {first[0], second[0]}
                if first[0] == second[0] or taken in ({"noise", "denoise"}, {"over", "under"}): second = None
            add(n, [first] + ([second] if second else []))
    return out


def main():
    a = argparse.ArgumentParser(); a.add_argument("--work", default=os.path.join(S.HERE, "renders")); a.add_argument("--only", default=""); a = a.parse_args()
    work = os.path.abspath(a.work); every = S.scenes(); record = {}; last = None
    for n, q in plan().items():
        p = every[q["scene"]]; g = np.random.default_rng(zlib.crc32(n.encode()))
        e = {name: settings(name, l, g) for name, l in q["effects"]}
        f = os.path.join(work, "work", q["scene"] + ".npy")
        if a.only not in n or not os.path.exists(f): continue
        m = p["mmpp"]/e.get("screenshot", dict(factor=1))["factor"]
        record[n] = dict(scene=q["scene"], kind=p["kind"], effects=[k for k, _ in q["effects"]], levels=[LEVELS[l] for _, l in q["effects"]], settings=e, mm_per_px=m,
            good=p["careful"] and len(e) == 1 and all(k in GOOD and l == 0 for k, l in q["effects"]))
        if not os.path.exists(f"{work}/{n}.jpg"):
            if last != f: lin = np.load(f); last = f
            i = photo(lin, p, e, g)
            cv2.imwrite(f"{work}/{n}.jpg", i if i.ndim == 2 else np.ascontiguousarray(i[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, e.get("jpeg", BASE)["quality"]])
    json.dump(record, open(f"{work}/photos.json", "w"))
    print(f"{len(record)} photos", flush=True)

if __name__ == "__main__": main()
