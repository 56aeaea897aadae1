package measure

import (
	"fmt"
	"math"

	"pinlash/measure/check"
)

// checks are the doubts about a joint, each with its number and limit.
func (j joint) checks() []check.Check {
	c := []check.Check{
		{Name: "shadow_beside_pin", Value: j.e.Shadow, Limit: shadowSeen, OK: !j.proud},
		{Name: "shade_on_pin", Value: j.e.PinShade, Limit: shadowSeen, OK: !j.sunk},
		check.AtMost("band_beside_rims_px", max(j.e.BoreBand, j.e.PinBand), bandSeen),
		check.AtMost("lopsided_rims", j.e.Lopsided, lopsidedSeen),
		check.AtMost("black_in_gap", j.e.BlackInGap, blackSeen),
		check.AtMost("face_without_white", j.e.Unwhite, whiteSeen),
	}
	if j.tilt.looked {
		c = append(c, check.AtMost("flattening", j.tilt.size, mostOval), check.AtMost("rims_wave_px", j.tilt.waves, mostWaves))
	}
	return c
}

// notes say in words what widens the intervals, and what to do about it.
func (j joint) notes(worn worn) []string {
	var n []string
	if j.proud {
		n = append(n, fmt.Sprintf("the bush is %.0f %% darker beside the pin: the pin end stands proud, and its visible rim is not the bearing diameter; the intervals allow for up to %.1f mm, --plane-offset with --working-distance narrows them", 100*j.e.Shadow, j.offLevelMM(j.e.ShadowReach)))
	}
	if j.sunk {
		n = append(n, fmt.Sprintf("the pin's end is %.0f %% darker beside its rim: it lies deep in the bush, farther from the lens than the scale; the intervals allow for up to %.1f mm, --plane-offset with --working-distance narrows them", 100*j.e.PinShade, j.offLevelMM(j.e.PinShadeReach)))
	}
	if j.pin.lit {
		n = append(n, fmt.Sprintf("the pin's end is %.0f %% brighter beside its rim where it lies against the bush, as a chamfer is: what seems worn on its far side may be the chamfer's dark side", -100*j.e.PinShade))
	}
	if j.e.PinBand > 0 {
		n = append(n, fmt.Sprintf("the pin's end is chamfered or rounded: its bright face ends %.1f px inside the rim, so the visible rim is not the bearing diameter; the rim was taken where the darkness of the gap ends", j.e.PinBand))
	}
	if j.e.BoreBand > 0 {
		n = append(n, fmt.Sprintf("the bore's edge is broken or rounded: the bush face ends %.1f px outside the rim; the rim was taken where the darkness of the gap ends", j.e.BoreBand))
	}
	if j.e.Lopsided > lopsidedSeen {
		n = append(n, "the light across both rims is lopsided: the camera or an app changed the tones of the photo (contrast, HDR, beauty modes), which moves both rims; the intervals allow for it, a photo in the camera's plain setting needs no such allowance")
	}
	if j.e.BlackInGap > blackSeen {
		n = append(n, fmt.Sprintf("%.0f %% of the gap is black to the last level: the camera or an app may have darkened what was dark, which moves both rims; the intervals allow for it, a photo in the camera's plain setting, or with a little more light, needs no such allowance", 100*j.e.BlackInGap))
	}
	if j.e.Unwhite > whiteSeen {
		n = append(n, "the faces are near white, but nothing on them is white: the camera or an app may have rolled off what was bright, which moves both rims; the intervals allow for it, a photo in the camera's plain setting, or with a little less light, needs no such allowance")
	}
	if j.e.SmoothedU > smoothedSeen {
		n = append(n, "the rims look as if the camera had smoothed the photo (noise reduction), which moves both rims and can hide the line between parts that touch; the intervals allow for it, a photo with less of it, or with more light, needs no such allowance")
	}
	if j.rough() > roughSeen {
		n = append(n, fmt.Sprintf("the rims are not as sharp and even as those of a clean joint in a careful photo (radii known to %.2g px by their light, %.2g px is usual; their step is %.0f times the unevenness of the light, %.0f times or more is usual): intervals are up to %.1f times as wide; rims cleaned, lit evenly and held still give narrower ones", j.e.LightU(), sharpRimU, j.e.SignalToNoise(), evenLight, j.rough()))
	}
	if j.e.Moved > 0 {
		n = append(n, fmt.Sprintf("camera or joint moved by about %.0f px while the photo was taken; the intervals allow for it", j.e.Moved))
	}
	if j.tilt.seen {
		n = append(n, fmt.Sprintf("the rims are flattened by %.2f px alike: the camera looks at a slant of about %.1f degrees, or camera or joint moved while the photo was read out; it was taken off, and lengths are those along the scale", 2*j.tilt.size*j.bore.circle.R, j.tilt.slantDeg()))
	}
	if j.tilt.waves > 0 {
		n = append(n, fmt.Sprintf("both rims wave alike by %.2f px: camera or joint moved while the photo was read out, and the intervals allow for it", j.tilt.waves))
	}
	if b := max(j.bevels()); b > 0 && j.e.BoreBand == 0 && j.e.PinBand == 0 {
		n = append(n, fmt.Sprintf("the edge beside the rim is broken over about %.0f px: where the rims touch it lies in the shade and can pass for wear, so the wear depths are wide", b))
	}
	for _, w := range []struct {
		wornFlank
		name string
	}{{worn.bore, "bore"}, {worn.pin, "pin"}} {
		if w.unseen {
			n = append(n, fmt.Sprintf("a flank of the %s was not seen: its wear is not known, and the play may be larger", w.name))
		}
		if w.seen && w.shaded {
			n = append(n, fmt.Sprintf("the %s seems to be worn over about %.0f degrees about %.0f degrees, aside of the way the pin lies: that may be the shade of a lamp on one side, and the interval allows for it", w.name, w.width*180/math.Pi, w.direction*180/math.Pi))
		} else if w.seen {
			n = append(n, fmt.Sprintf("the %s is worn on one side, over about %.0f degrees about %.0f degrees", w.name, w.width*180/math.Pi, w.direction*180/math.Pi))
		}
	}
	if worn.hidden > 0 {
		n = append(n, fmt.Sprintf("the pin lies %.1f px farther out than its bore allows: a flank is worn, but which of the two the photo does not show", worn.hidden))
	}
	return n
}
