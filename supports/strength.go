package supports

const (
	// Strength is the tension, in MPa, at which layers of PLA part: doi
	// 10.1089/3dp.2020.0109.
	Strength = 22.8
	// ByHand is the force, in N, that a support may take to break off. Common practice, no
	// source.
	ByHand = 40.0
)
