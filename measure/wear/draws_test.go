package wear_test

import "flag"

// Every run draws the same; -rapid.seed draws otherwise.
var _ = flag.Set("rapid.seed", "1")
