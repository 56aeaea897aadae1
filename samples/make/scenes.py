"""The photos of the filler drive: file under ../filler-drive -> scene. All invented.

A joint is given by its parts (what is measured) and its look; a photo of it by how it was taken.
"""
BORE, NEW_PIN, OD, PITCH = 3.60, 3.55, 5.2, 9.525


def worn(where, depth):   # on the loaded flank, towards the pull
    return dict(where=where, depth_mm=depth)


SETS = {}

# ---------- spans, from the side -------------------------------------------------------------
SIDE = dict(pitch=PITCH, head=3.5, od=OD, bore=BORE, R=4.1, w=2.9)
SPAN = dict(SIDE, kind="span", size=(1300, 620), mmpp=0.068, n=8, plate_top=-0.04, plate_t=0.3, line=0.07, jpeg=86)
GROWN = {"0h": 0.0, "400h": 0.0045, "800h": 0.0080, "1200h": 0.0115}   # growth of a joint / pitch
for k, (at, g) in enumerate(GROWN.items()):
    SETS[f"plain-pins/chain-1/{at}/span.jpg"] = dict(SPAN, growth=g, roll=(0.0, 1.5, -1.0, 2.0)[k], tick_phase=0.1 + 0.23*k,
        uneven_wear=0.08, cast=("neutral", "warm", "neutral", "cool")[k], oil=(0, 0, 0, 6)[k], note=f"eight pitches, rule level with the heads, {at}")
SETS |= {
    "coated-pins/chain-3/1200h/span.jpg": dict(SPAN, growth=0.0059, uneven_wear=0.08, roll=-1.5, tick_phase=0.6, cast="warm", note="eight pitches, rule level with the heads"),
    "sealed/chain-5/1200h/span.jpg": dict(SPAN, growth=0.0031, uneven_wear=0.08, roll=0.7, tick_phase=0.45, cast="cool", note="eight pitches, rule level with the heads"),
}

# ---------- play from the side ---------------------------------------------------------------
PLAY = dict(SIDE, size=(1200, 900), mmpp=0.0135, rule_y=5.0, jpeg=86)
SETS |= {
    "plain-pins/chain-2/1200h/joint-4.jpg": dict(PLAY, kind="pair", files=("joint-4-together.jpg", "joint-4-apart.jpg"), play=0.21,
        nudge=(0.03, -0.02), nroll=0.12, cast="warm", note="links pushed together, then pulled apart"),
    "coated-pins/chain-4/1200h/joint-4.avi": dict(PLAY, kind="clip", size=(480, 360), mmpp=0.034, play=0.12, blur=0.7,
        ways=3, rest=6, cast="neutral", note="joint being rocked by hand"),
}

# ---------- joints, end-on -------------------------------------------------------------------
PLAIN = dict(a_pin=0.62, tex_pin="grain", tex_bush="grain", cast="warm")
COATED = dict(a_pin=0.58, tex_pin="grain", tex_bush="grain", a_bush=0.70, cast="neutral")
SEALED = dict(a_pin=0.58, tex_pin="streak", tex_bush="pits", a_bush=0.66, cast="cool")


def joint(look, pin=NEW_PIN, bore=BORE, wear=None, **more):
    return dict(look, pin=pin, bore=bore, wear=wear, **more)


JOINTS = {
    # plain pins: the loaded flank wears, mostly that of the pin
    "c1n": joint(PLAIN, rot_pin=10, rot_bush=-70),
    "c1j1": joint(PLAIN, wear=worn("pin", 0.104), rot_pin=-35, rot_bush=60, rot_plate=15),
    "c1j2": joint(PLAIN, pin=3.548, wear=worn("pin", 0.110), rot_pin=80, rot_bush=140, rot_plate=8, a_pin=0.55),
    "c1j3": joint(PLAIN, bore=3.602, pin=3.552, wear=worn("bore", 0.114), rot_pin=150, rot_bush=-20, rot_plate=20),
    "c2j1": joint(PLAIN, pin=3.549, wear=worn("pin", 0.118), rot_pin=-120, rot_bush=15, rot_plate=-12, oil=4),
    "c2j2": joint(PLAIN, wear=worn("pin", 0.125), rot_pin=200, rot_bush=100),
    "c2j3": joint(PLAIN, bore=3.603, pin=3.551, wear=worn("pin", 0.130), rot_pin=35, rot_bush=-95),
    "c2j5": joint(PLAIN, wear=worn("pin", 0.121), rot_pin=-60, rot_bush=-30),
    # coated pins: the bush wears
    "c3j1": joint(COATED, wear=worn("bore", 0.052), rot_pin=20, rot_bush=45),
    "c3j2": joint(COATED, pin=3.551, wear=worn("bore", 0.060), rot_pin=-75, rot_bush=160, oil=1),
    "c3j3": joint(COATED, bore=3.601, wear=worn("bore", 0.056), rot_pin=110, rot_bush=-150),
    "c4j1": joint(COATED, wear=worn("bore", 0.064), rot_pin=-10, rot_bush=75, rot_plate=-8),
    "c4j2": joint(COATED, pin=3.549, wear=worn("bore", 0.070), rot_pin=65, rot_bush=-40),
    "c4j3": joint(COATED, bore=3.599, wear=worn("bore", 0.062), rot_pin=-160, rot_bush=120),
    # sealed: the bushes turn in their plates, pin and bore wear all round
    "c5j1": joint(SEALED, bore=3.625, pin=3.515, rot_pin=5, rot_bush=-60),
    "c5j2": joint(SEALED, bore=3.622, pin=3.522, rot_pin=95, rot_bush=30, rot_plate=-15),
    "c5j3": joint(SEALED, bore=3.628, pin=3.513, rot_pin=-45, rot_bush=155),
    "c6j1": joint(SEALED, bore=3.630, pin=3.510, rot_pin=170, rot_bush=80, oil=4),
    "c6j2": joint(SEALED, bore=3.624, pin=3.514, rot_pin=-100, rot_bush=-110),
    "c6j3": joint(SEALED, bore=3.631, pin=3.506, rot_pin=50, rot_bush=10, rot_plate=6),
}

# how the two shifts photograph: the late one focuses a little high and has its lamp to one side
EARLY = dict(focus=0.0)
LATE = dict(focus=0.22, uneven=0.35, uneven_dir=40)


def taken(of, roll=0.0, at=(560, 355), by=EARLY, **more):
    return dict(kind="joint", of=of, roll=roll, bore_px=at, **by, **more)


SETS |= {
    "micrometer.jpg": dict(kind="scale", roll=2.0, note="stage micrometer alone, at the setting of the joint photos"),
    "plain-pins/chain-1/0h/joint-1.jpg": taken("c1n", 1.0, (570, 350), note="new joint"),
}

# three joints, two shifts, two photos each: the repeatability study
PLACED = {
    "1": [(0.5, (560, 355)), (-1.5, (590, 340)), (2.0, (540, 372)), (0.0, (575, 330))],
    "2": [(-0.5, (545, 348)), (1.5, (580, 365)), (-2.0, (566, 336)), (1.0, (530, 352))],
    "3": [(1.0, (585, 352)), (-1.0, (552, 338)), (0.5, (570, 366)), (2.5, (548, 347))],
}
for j, places in PLACED.items():
    for i, (roll, at) in enumerate(places):
        SETS[f"plain-pins/chain-1/1200h/joint-{j}{'abcd'[i]}.jpg"] = taken(
            f"c1j{j}", roll, at, (EARLY, LATE)[i // 2], note=f"joint {j}, {('early', 'late')[i // 2]} shift")

SETS |= {
    "plain-pins/chain-2/1200h/joint-1.jpg": taken("c2j1", -1.0, (555, 350), note="pin worn on the loaded flank, oily"),
    "plain-pins/chain-2/1200h/joint-2.jpg": taken("c2j2", 2.0, (580, 345), note="as joint 1, dry"),
    "plain-pins/chain-2/1200h/joint-3.jpg": taken("c2j3", 0.5, (565, 360), note="as joint 1, dry"),
    "plain-pins/chain-2/1200h/joint-5.jpg": taken("c2j5", 3.0, (600, 440), rule=False, mmpp=0.0065, expect="refuse",
        note="at another zoom, and nothing of known length beside it: has to be refused"),
    "coated-pins/chain-3/1200h/joint-1.jpg": taken("c3j1", 0.0, (560, 352), note="bore worn on the loaded side"),
    "coated-pins/chain-3/1200h/joint-2.jpg": taken("c3j2", 1.5, (572, 340), note="as joint 1, a drop of oil on the bush"),
    "coated-pins/chain-3/1200h/joint-3.jpg": taken("c3j3", -4.0, (590, 430), rule=False,
        note="shows no scale; taken at the setting of micrometer.jpg"),
    "coated-pins/chain-4/1200h/joint-1.jpg": taken("c4j1", -2.0, (548, 349), note="bore worn on the loaded side"),
    "coated-pins/chain-4/1200h/joint-2.jpg": taken("c4j2", 1.0, (577, 358), tilt=0.5, tilt_dir=60, note="as joint 1, camera half a degree aslant"),
    "coated-pins/chain-4/1200h/joint-3.jpg": taken("c4j3", 0.0, (562, 343), note="as joint 1"),
    "sealed/chain-5/1200h/joint-1.jpg": taken("c5j1", 0.5, (568, 351), note="worn all round"),
    "sealed/chain-5/1200h/joint-2.jpg": taken("c5j2", -1.5, (556, 346), note="worn all round"),
    "sealed/chain-5/1200h/joint-3.jpg": taken("c5j3", 2.0, (583, 362), note="worn all round"),
    "sealed/chain-6/1200h/joint-1.jpg": taken("c6j1", -0.5, (560, 349), note="worn all round, oily"),
    "sealed/chain-6/1200h/joint-2.jpg": taken("c6j2", 1.0, (571, 355), by=LATE, note="worn all round, lamp to one side"),
    "sealed/chain-6/1200h/joint-3.jpg": taken("c6j3", 0.0, (564, 341), note="worn all round"),
}
