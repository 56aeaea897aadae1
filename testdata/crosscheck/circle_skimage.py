"""Circle and ellipse fits by scikit-image, to hold our own against.

Run:       /usr/bin/python3 circle_skimage.py > circle_skimage.csv
Made with: python3-skimage 0.19.3, python3-scipy 1.10.1, python3-numpy 1.24.2
           (Debian packages). Other versions may move the last digits.

Every point is written out, noise included, so the CSV needs no Python to be
used. Sets "full", "arc" and "far" are clean of outliers; in "glare" a fifth of
the rim is pulled inward.

In this version CircleModel is an algebraic fit (Kasa's, by linear least
squares) and EllipseModel the direct algebraic one (Halir and Flusser). The
"_geometric" rows start there and run scipy.optimize.least_squares: the circle
on CircleModel.residuals, the ellipse on the foot points' distances with the
foot points as further unknowns (Gander, Golub, Strebel 1994), because
EllipseModel.residuals is good for five digits only. On "glare" the fits see
only the points that scikit-image's ransac keeps, marked inlier = 1. The points
of "far" are moved to the origin before fitting: CircleModel does not centre
them and loses digits.

Columns: kind, set, a, b, c, d, e
  point    a = x, b = y, c = inlier (1, or 0 where ransac left it out)
  circle_algebraic, circle_geometric
           a = x, b = y, c = R
  ellipse_algebraic, ellipse_geometric
           a = x, b = y, c = longer half axis, d = shorter, e = its angle in radians
"""

import sys

import numpy as np
import scipy
import skimage
from scipy.optimize import least_squares
from skimage.measure import CircleModel, EllipseModel, ransac


def emit(kind, name, *values):
    cells = [repr(float(v)) for v in values]
    print(",".join([kind, name] + cells + [""] * (5 - len(cells))))


def circle_points(rng, x, y, r, start, stop, n, noise):
    t = np.linspace(np.radians(start), np.radians(stop), n, endpoint=False)
    pts = np.column_stack((x + r * np.cos(t), y + r * np.sin(t)))
    return pts + rng.normal(0, noise, (n, 2))


def ellipse_points(rng, x, y, a, b, angle, start, stop, n, noise):
    t = np.linspace(np.radians(start), np.radians(stop), n, endpoint=False)
    pts = EllipseModel().predict_xy(t, params=(x, y, a, b, angle))
    return pts + rng.normal(0, noise, (n, 2))


def minimum(residuals, start, jac="3-point"):
    return least_squares(residuals, start, jac, xtol=1e-14, ftol=None, gtol=None, x_scale="jac").x


def emit_circle(name, pts, origin=(0, 0)):
    model = CircleModel()
    assert model.estimate(pts - origin)
    algebraic = model.params

    def residuals(params):
        model.params = tuple(params)
        return model.residuals(pts - origin)

    def slopes(params):
        away = np.array(params[:2]) - (pts - origin)
        away /= np.linalg.norm(away, axis=1)[:, None]
        return -np.column_stack((away, -np.ones(len(pts))))  # CircleModel has R - distance

    for kind, (x, y, r) in (
        ("circle_algebraic", algebraic),
        ("circle_geometric", minimum(residuals, algebraic, slopes)),
    ):
        emit(kind, name, x + origin[0], y + origin[1], r)


def circles(rng):
    for name, args in {
        "full": (512.25, 380.5, 217.4, 0, 360, 60, 0.1),
        "full_noisy": (20.0, -7.0, 10.0, 0, 360, 40, 1.0),
        "arc_180": (640.0, 480.0, 400.0, 20, 200, 60, 0.1),
        "arc_90": (640.0, 480.0, 400.0, -30, 60, 60, 0.1),
        "arc_60": (640.0, 480.0, 100.0, 100, 160, 60, 0.02),
        "far": (1e6, -2e6, 50.0, 0, 360, 30, 0.1),
        "small": (0.0, 0.0, 1e-3, 0, 300, 30, 1e-5),
    }.items():
        pts = circle_points(rng, *args)
        for p in pts:
            emit("point", name, *p, 1)
        emit_circle(name, pts, np.array(args[:2]) if name == "far" else (0, 0))

    for name, (x, y, r, start, stop, n) in {
        "glare": (640.0, 480.0, 400.0, 0, 360, 100),
        "glare_arc": (300.0, 200.0, 150.0, 0, 240, 80),
    }.items():
        pts = circle_points(rng, x, y, r, start, stop, n, 0.1)
        bad = np.arange(n // 5)
        inward = np.array([x, y]) - pts[bad]
        inward /= np.linalg.norm(inward, axis=1)[:, None]
        pts[bad] += inward * rng.uniform(2, 10, (len(bad), 1))
        # Six standard deviations of the noise: no good point is lost, so least
        # squares of the inliers is what a robust fit has to come close to.
        _, inliers = ransac(pts, CircleModel, 3, 0.6, max_trials=500, random_state=1)
        assert inliers.sum() == n - len(bad)
        for p, kept in zip(pts, inliers):
            emit("point", name, *p, kept)
        emit_circle(name, pts[inliers])


def ordered(params):
    x, y, a, b, angle = params
    if a < b:
        a, b, angle = b, a, angle + np.pi / 2
    return x, y, a, b, angle % np.pi


def orthogonal_ellipse(start, pts):
    x, y, a, b, angle = start.params
    dx, dy = pts[:, 0] - x, pts[:, 1] - y
    foot = np.arctan2((dy * np.cos(angle) - dx * np.sin(angle)) / b, (dx * np.cos(angle) + dy * np.sin(angle)) / a)

    def residuals(params):
        return (EllipseModel().predict_xy(params[5:], params=params[:5]) - pts).ravel()

    return minimum(residuals, np.concatenate((start.params, foot)))[:5]


def ellipses(rng):
    for name, args in {
        "ellipse": (640.0, 480.0, 404.0, 350.0, 0.5, 0, 360, 60, 0.1),
        "ellipse_tilt": (640.0, 480.0, 404.0, 396.0, 2.2, 0, 360, 80, 0.1),
        "ellipse_arc": (100.0, 90.0, 60.0, 30.0, 1.0, 0, 220, 50, 0.05),
        "ellipse_thin": (-3.0, 4.0, 10.0, 1.0, 3.0, 0, 360, 50, 0.02),
    }.items():
        pts = ellipse_points(rng, *args)
        model = EllipseModel()
        assert model.estimate(pts)
        for p in pts:
            emit("point", name, *p, 1)
        emit("ellipse_algebraic", name, *ordered(model.params))
        emit("ellipse_geometric", name, *ordered(orthogonal_ellipse(model, pts)))


if __name__ == "__main__":
    print("# Made by circle_skimage.py, which explains the columns. scikit-image %s, scipy %s, numpy %s, Python %s"
          % (skimage.__version__, scipy.__version__, np.__version__, sys.version.split()[0]))
    print("kind,set,a,b,c,d,e")
    rng = np.random.default_rng(20240607)
    circles(rng)
    ellipses(rng)
