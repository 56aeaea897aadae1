//go:build !front

package cli

import (
	"context"
	"fmt"

	"pinlash/calib"
	"pinlash/cmd/pinlash/internal/record"
	"pinlash/measure/geom"
	"pinlash/vision"
)

// readGrids reads one scale, with the lens, from all photos of a grid.
// The outcome is that of the first photo, or of the one that was refused.
func (s *scaleSource) readGrids(ctx context.Context, paths []string, pitch calib.Length) (outcome, calib.GridReading, error) {
	var first outcome
	var grids []geom.Grid
	var found calib.GridReading
	for i, path := range paths {
		one := outcome{record: record.Record{Kind: record.Ruler}}
		if err := one.open(ctx, path); err != nil {
			return one, found, err
		}
		if i > 0 && (one.photo.W != first.photo.W || one.photo.H != first.photo.H) {
			scale := calib.Scale{W: first.photo.W, H: first.photo.H}
			return one, found, scale.Fits(one.photo.W, one.photo.H)
		}
		grid, checks, err := vision.FindGrid(one.photo.Light)
		one.record.Checks = append(one.record.Checks, checks...)
		if err != nil {
			return one, found, vision.OrBlurred(one.photo.Light, err)
		}
		one.grid = &grid
		grids = append(grids, grid)
		if i == 0 {
			first = one
			continue
		}
		first.record.Checks = append(first.record.Checks, one.record.Checks...)
	}
	found, err := calib.FromGrids(grids, pitch, s.stated(first.photo))
	if err != nil {
		first.record.Checks = append(first.record.Checks, found.Checks...)
		return first, found, err
	}
	for i, path := range paths {
		kind := "dots"
		if grids[i].Checker {
			kind = "corners of squares"
		}
		found.Notes = append(found.Notes, fmt.Sprintf("%s: %d %s in %d columns and %d rows, %.2g px off the fitted grid (root mean square)",
			record.SafeName(path), len(grids[i].Points), kind, grids[i].Columns, grids[i].Rows, found.StrayPx[i]))
	}
	return first, found, nil
}
