"""Reads a vial before the reference card the plain way, for comparison of time alone.

The tags are found at full size, the card is warped whole, one matrix takes its patches to the chart's,
and the liquid's colour is placed between the chart's levels in CIELAB. No doubts, no interval.

usage: plain_read.py CHART.json PHOTO...   one value a line
       plain_read.py CHART.json            photos come as lines, each is answered by its value
"""

import json
import sys

import cv2
import numpy as np

PIXELS_PER_MM = 10
TAG_MM = 16
TAGS_MM = {0: (5, 5), 1: (129, 5), 2: (129, 79), 3: (5, 79)}
PATCH_COLUMNS_MM = (28, 41, 98, 111)
MARGIN_MM = 2


def linear(bgr):
    """Linear RGB of 8-bit sRGB (IEC 61966-2-1)."""
    coded = bgr[..., ::-1].astype(np.float32) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    pixels = np.float32(np.clip(rgb, 0, 1)).reshape(-1, 1, 3)
    return cv2.cvtColor(pixels, cv2.COLOR_LRGB2Lab).reshape(-1, 3)


def card(picture, detector):
    """The card, seen from above, in linear light."""
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    corners, ids, _ = detector.detectMarkers(grey)
    seen, known = [], []
    for quad, tag in zip(corners, ids.ravel()):
        if tag in TAGS_MM:
            x, y = TAGS_MM[int(tag)]
            known += [(x, y), (x + TAG_MM, y), (x + TAG_MM, y + TAG_MM), (x, y + TAG_MM)]
            seen += list(quad[0])
    to_card, _ = cv2.findHomography(np.float32(seen), np.float32(known) * PIXELS_PER_MM, cv2.RANSAC)
    return linear(cv2.warpPerspective(picture, to_card, (150 * PIXELS_PER_MM, 100 * PIXELS_PER_MM)))


def median(light, x, y, width, height):
    rows = slice(round((y + MARGIN_MM) * PIXELS_PER_MM), round((y + height - MARGIN_MM) * PIXELS_PER_MM))
    columns = slice(round((x + MARGIN_MM) * PIXELS_PER_MM), round((x + width - MARGIN_MM) * PIXELS_PER_MM))
    return np.median(light[rows, columns].reshape(-1, 3), axis=0)


def read(path, chart, detector):
    light = card(cv2.imread(path), detector)
    patches = [median(light, x, 8 + 14.4 * row, 11, 12) for x in PATCH_COLUMNS_MM for row in range(6)]
    patches = np.hstack([patches, np.ones((24, 1))])
    matrix, *_ = np.linalg.lstsq(patches, np.array(chart["reference"]["patches"]), rcond=None)
    window = light[20 * PIXELS_PER_MM : 88 * PIXELS_PER_MM, 70 * PIXELS_PER_MM : 80 * PIXELS_PER_MM]
    rows = np.median(window, axis=1) @ matrix[:3] + matrix[3]
    saturation = rows.max(1) - rows.min(1)
    liquid = lab(np.median(rows[saturation > np.quantile(saturation, 0.6)], axis=0))[0]
    levels = chart["scales"][0]["levels"]
    colours = lab(10 ** -np.array([level["absorbance"] for level in levels]))
    places = []
    for first, second, begin, end in zip(levels, levels[1:], colours, colours[1:]):
        way = end - begin
        share = np.clip(np.dot(liquid - begin, way) / np.dot(way, way), 0, 1)
        distance = np.linalg.norm(liquid - begin - share * way)
        places.append((distance, first["value"] + share * (second["value"] - first["value"])))
    return min(places)[1]


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        chart = json.load(file)
    cv2.setNumThreads(1)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(family, cv2.aruco.DetectorParameters())
    for path in sys.argv[2:] or map(str.strip, iter(sys.stdin.readline, "")):
        print(f"{read(path, chart, detector):.2f}", flush=True)


main()
