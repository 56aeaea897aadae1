"""Corners of OpenCV's sample chessboard, and its calibrations from them.

Run:       /usr/bin/python3 chessboard_opencv.py FOLDER > chessboard_opencv.csv
           with FOLDER = examples/data of the Debian package opencv-doc, which
           has left01.jpg to left14.jpg (without 10) and left_intrinsics.yml.
Made with: python3-opencv 4.6.0+dfsg-12, opencv-doc 4.6.0+dfsg-12, numpy 1.24.2
           (Debian packages). Other versions may move the last digits.

The published calibration, left_intrinsics.yml, comes without its corners. They
are found here the way OpenCV's sample program finds them: findChessboardCorners,
then cornerSubPix with eps 0.1 and 30 iterations; the window's half size is 11,
which gives the published figures, and, for comparison, 5.

left02.jpg and left09.jpg beside this script are the package's own (OpenCV,
Apache License 2.0): the photo whose corners the window spoils, and a good one.

Columns: kind, window, view, i, j, x, y
  corner       view 1 to 14; i along the nine corners, j along the six; x, y in
               pixels, the centre of the first being 0, 0
  f, cx, cy, k1, k2, p1, p2, k3, rms
               x = that figure by calibrateCamera with flags 2 (one focal length)
  published_*  the same from left_intrinsics.yml; window and view are 0
  published_view_rms
               x = that of one view
"""

import sys

import cv2
import numpy as np

VIEWS = [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14]
NAMES = ["k1", "k2", "p1", "p2", "k3"]


def emit(kind, window, view, i="", j="", *values):
    cells = [kind, str(window), str(view), str(i), str(j)] + ["%.9g" % v for v in values]
    print(",".join(cells + [""] * (7 - len(cells))))


def corners(image, window):
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_FAST_CHECK | cv2.CALIB_CB_NORMALIZE_IMAGE
    found, at = cv2.findChessboardCorners(image, (9, 6), flags=flags)
    assert found
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.1)
    return cv2.cornerSubPix(image, at, (window, window), (-1, -1), criteria)


def main(folder):
    print("# Made by chessboard_opencv.py, which explains the columns. OpenCV %s, numpy %s" % (cv2.__version__, np.__version__))
    print("kind,window,view,i,j,x,y")
    board = np.zeros((54, 3), np.float32)
    board[:, :2] = 0.025 * np.mgrid[0:9, 0:6].T.reshape(-1, 2)
    for window in (11, 5):
        seen = []
        for view in VIEWS:
            image = cv2.imread("%s/left%02d.jpg" % (folder, view), cv2.IMREAD_GRAYSCALE)
            seen.append(corners(image, window))
            for n, (x, y) in enumerate(seen[-1].reshape(-1, 2)):
                emit("corner", window, view, n % 9, n // 9, x, y)
        rms, camera, bend, _, _ = cv2.calibrateCamera(
            [board] * len(seen), seen, (640, 480), np.eye(3), None, flags=cv2.CALIB_FIX_ASPECT_RATIO)
        emit("f", window, 0, "", "", camera[0, 0])
        emit("cx", window, 0, "", "", camera[0, 2])
        emit("cy", window, 0, "", "", camera[1, 2])
        for name, v in zip(NAMES, bend.ravel()):
            emit(name, window, 0, "", "", v)
        emit("rms", window, 0, "", "", rms)

    published = cv2.FileStorage("%s/left_intrinsics.yml" % folder, cv2.FILE_STORAGE_READ)
    camera = published.getNode("camera_matrix").mat()
    emit("published_f", 0, 0, "", "", camera[0, 0])
    emit("published_cx", 0, 0, "", "", camera[0, 2])
    emit("published_cy", 0, 0, "", "", camera[1, 2])
    for name, v in zip(NAMES, published.getNode("distortion_coefficients").mat().ravel()):
        emit("published_" + name, 0, 0, "", "", v)
    emit("published_rms", 0, 0, "", "", published.getNode("avg_reprojection_error").real())
    for view, v in zip(VIEWS, published.getNode("per_view_reprojection_errors").mat().ravel()):
        emit("published_view_rms", 0, view, "", "", v)


if __name__ == "__main__":
    main(sys.argv[1])
