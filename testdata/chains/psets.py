OLD = dict(line=0, c_outer=1.0, headscale=36.0, spec_head=3.0, rough_head=0.02)
SETS = {
 "S02": dict(note="0.5 % worn, straight, dark rolled head edge", sharpen=0.35, jpeg=88),
 "R01": dict(**OLD, note="0.5 % worn, straight", sharpen=0.35, jpeg=88),
 "R02": dict(note="rotated 25, 1 % worn", roll=25, growth=0.01, mmpp=0.05, tick_phase=0.1),
 "R03": dict(note="rotated -40, 0.5 % worn", roll=-40, mmpp=0.058, n=8+1, tick_phase=0.7, cast="cool", plate_t=0.3),
 "R04": dict(note="rule 3 mm below", rule_z=-3.0, mmpp=0.048, growth=0.008, cast="warm"),
 "R05": dict(**OLD, note="2 % worn", growth=0.02, mmpp=0.05, cast="cool", well=3000),
 "R06": dict(note="13 pitches, uneven wear", n=13, growth=0.006, uneven_wear=0.9, mmpp=0.06, well=3000),
 "R07": dict(note="open bush ends both sides in view", ends="open", mmpp=0.055, growth=0.006),
 "R08": dict(note="open bush right, 7 pitches", ends="right", n=7, mmpp=0.048, growth=0.01, cast="warm", sharpen=0.35),
 "R09": dict(note="rule in cm", label="cm", mmpp=0.05, growth=0.003),
 "R10": dict(note="oily dark", oil=14, a_outer=0.10, a_inner=0.09, a_head=0.16, a_rule=0.5, spec_head=4.0, expose=0.55, veil=0.012, well=3000, blur=0.8, mmpp=0.05, growth=0.007),
 "R11": dict(note="sag 5", sag=5.0, n=11, mmpp=0.056, growth=0.006, cast="cool", chain_off=-0.5),
 "R12": dict(note="sag 4, rotated 25, plates 0.3 thick", sag=4.0, roll=25, n=9, mmpp=0.052, growth=0.008, plate_t=0.3),
 "R13": dict(note="bush ends only, 0.8 % worn", bush_only=True, mmpp=0.05, growth=0.008, n=9),
 "R14": dict(note="bush ends only, rotated 25, new", bush_only=True, roll=25, mmpp=0.052, growth=0.0, n=8),
 "R15": dict(note="new chain, starts with inner, 8 pitches, uneven light", growth=0.0, n=8, first="inner", mmpp=0.055, uneven=0.7, uneven_dir=120, gradient=0.3, gradient_dir=120),
 "R16": dict(note="chain 8 degrees to the rule, plates 0.3 thick", chain_angle=-8, rule_y=12.5, n=9, mmpp=0.052, growth=0.01, plate_t=0.3),
 "R17": dict(note="fine 0.04 mm/px, 7 pitches, rule 3 mm below, rotated -40 (8 mm heads plane 0)", n=5, roll=-40, mmpp=0.04, rule_z=-3.0, growth=0.012),
 "R18": dict(note="13 pitches, 2 % worn, coarse 0.06, noise", n=13, growth=0.02, mmpp=0.06, well=900, uneven_wear=0.3, read=5, blur=0.8),
 "R19": dict(note="6 pitches even count, outer first, 0.8 % worn", n=6, growth=0.008, mmpp=0.06, plate_t=0.3, cast="warm"),
 "Q01": dict(kind="pair", note="play 0.15", play=0.15),
 "Q02": dict(kind="pair", note="play 0.03, new", play=0.03, nudge=(-0.02,0.04), nroll=-0.15, sharpen=0.35, cast="cool"),
 "Q03": dict(kind="pair", note="play 0.40", play=0.40, nudge=(0.05,0.01), nroll=0.2, cast="warm"),
 "Q04": dict(kind="pair", note="rotated 25, play 0.15", play=0.15, roll=25, centre_px=(700,420), nudge=(0.03,0.03), nroll=0.15),
 "Q05": dict(kind="pair", note="swing 0.5, play 0.15", play=0.15, swing=0.5, nudge=(-0.03,-0.02), nroll=-0.1),
 "Q06": dict(kind="pair", note="1 mm rule, 12 um/px, play 0.12", play=0.12, division=1.0, mmpp=0.012, nroll=0.12),
 "Q07": dict(kind="pair", note="zero play", play=0.0, nudge=(0.04,0.015), nroll=0.2),
 "Q08": dict(kind="pair", note="oily dark, play 0.08", play=0.08, a_outer=0.10, a_inner=0.08, a_head=0.16, a_bush=0.2, a_rule=0.5, expose=0.55, veil=0.012, well=2500, blur=0.85, nudge=(0.02,-0.03), nroll=-0.18),
 "Q09": dict(kind="pair", note="swing -0.5 and zero play", play=0.0, swing=-0.5, nudge=(0.02,0.03), nroll=0.15),
 "Q10": dict(kind="pair", note="chain lying at 25 deg, rule level, play 0.20", play=0.20, pull=-25.0, rule_y=5.2, centre_px=(560,430), nudge=(0.02,0.03), nroll=0.15),
}

FL = dict(plate_top=-0.04, plate_t=0.3, line=0.07)
for k in list(SETS):
    if k[0] == "R" and "OLD" not in k: 
        d = {**SETS[k], **FL}
        for o in ("c_outer", "headscale", "spec_head", "rough_head"):
            if k in ("R01", "R05"): d.pop(o, None)
        if k == "R10": d["spec_head"] = 4.0
        SETS["F" + k[1:]] = d

SETS["G04"] = {**SETS["R04"], "ring_r": 100.0, "ring_z": 300.0, "note": "proud 0.3 heads, rule 3 mm below, lamp ring farther (r 100, 300 mm up)"}
SETS["G07"] = {**SETS["F07"], "plate_top": -0.15, "note": "heads proud 0.15, open bush ends"}
SETS["M03"] = {**SETS["F03"], "marks": 1.15, "note": "short marks 1.15 divisions long, rotated -40"}
SETS["M45"] = {**SETS["F01"], "marks": 1.15, "roll": 45, "mmpp": 0.058, "n": 7, "plate_t": 0.3, "note": "short marks 1.15 divisions long, rotated 45"}
