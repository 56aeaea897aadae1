package wear_test

// Data set Norris of the NIST Statistical Reference Datasets, linear
// regression, lower level of difficulty; 36 observations in file order.
// norrisX is the reference's and norrisY the customer's reading of an ozone
// monitor.
var norrisX = []float64{
	0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
	0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
	0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
}

var norrisY = []float64{
	0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
	0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
	0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
}

// Speed in mph and stopping distance in feet of 50 cars, Ezekiel 1930, as
// distributed with R as the data set cars.
var carSpeed = []float64{
	4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12,
	12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15,
	15, 15, 16, 16, 17, 17, 17, 18, 18, 18, 18, 19,
	19, 19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24,
	24, 25,
}

var carDist = []float64{
	2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14,
	20, 24, 28, 26, 34, 34, 46, 26, 36, 60, 80, 20,
	26, 54, 32, 40, 32, 40, 50, 42, 56, 76, 84, 36,
	46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93,
	120, 85,
}
