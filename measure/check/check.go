// Package check has the vocabulary of doubt: a check is a number held against
// a limit, a refusal is a photo that failed one.
package check

// Check is one number held against its limit.
type Check struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	OK    bool    `json:"ok"`
}

// AtMost returns the check that value is not above limit.
func AtMost(name string, value, limit float64) Check {
	return Check{Name: name, Value: value, Limit: limit, OK: value <= limit}
}

// AtLeast returns the check that value is not below limit.
func AtLeast(name string, value, limit float64) Check {
	return Check{Name: name, Value: value, Limit: limit, OK: value >= limit}
}

// Code says in one word why a photo was refused.
type Code string

// The refusal codes, part of the printed contract.
const (
	NoScale        Code = "no_scale"
	ScaleUnclear   Code = "scale_unclear"
	ScalesDisagree Code = "scales_disagree"
	NotFound       Code = "not_found"
	Blurred        Code = "blurred"
	TooDark        Code = "too_dark"
	Overexposed    Code = "overexposed"
	TooFewEdges    Code = "too_few_edges"
	Unreadable     Code = "unreadable"
	TooLarge       Code = "too_large"
	NotAnImage     Code = "not_an_image"
	WrongScale     Code = "wrong_scale"
)

// Refusal is a photo that cannot be measured honestly. It is an error;
// callers find it with errors.As.
type Refusal struct {
	Code    Code   `json:"code"`
	Message string `json:"message"` // what was seen: quantity, value, limit
	Remedy  string `json:"remedy"`  // what to do next
}

// Error returns the message.
func (r *Refusal) Error() string { return r.Message }

// Refuse returns a refusal with the code's usual remedy.
func Refuse(code Code, message string) *Refusal {
	remedy, ok := remedies[code]
	if !ok {
		panic("check: unknown code " + string(code))
	}
	return &Refusal{Code: code, Message: message, Remedy: remedy}
}

var remedies = map[Code]string{
	NoScale:        "put a rule or stage micrometer in the plane of the joint and photograph again, or a round gauge with --gauge; or give --scale-file, or --points with --distance",
	ScaleUnclear:   "wipe the rule, light it evenly, show at least 8 neighbouring marks, and state --division; of a round gauge show the whole rim on a plain ground",
	ScalesDisagree: "leave only the scale that lies in the plane of the joint in the photo, or correct the stated division",
	NotFound:       "show the whole pin end and the bush around it, end-on, filling a third to two thirds of the height",
	Blurred:        "focus on the rim of the bush, hold the camera still, and photograph again",
	TooDark:        "add light or lengthen the exposure until the metal is mid-grey",
	Overexposed:    "shorten the exposure or soften the light until no rim is pure white",
	TooFewEdges:    "clean oil and dirt off the rims, light the joint from all sides, and photograph again",
	Unreadable:     "copy the file from the camera again, or photograph again",
	TooLarge:       "reduce the picture's size in pixels without cropping the scale away, or crop to joint and scale",
	NotAnImage:     "give a JPEG, PNG or TIFF photo",
	WrongScale:     "save a scale at this image size and zoom, or put a rule in the photo",
}
