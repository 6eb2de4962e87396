// Package coupon draws a small print off which a printer's own limits are read:
// what holds at which angle, how long a bridge may be, how far a lone layer may
// stand out, which void lets supports come off, how thin a wall prints whole, and
// how firmly the plate holds a foot.
//
// Each group is a rail along Y with items side by side on its +X side, and on its
// other side ticks that count them: a wide tick is five, a narrow one is one. The
// items of most groups are meant to fail from some number on, so they are drawn
// without supports; those of the voids stand on supports with one, two and three
// empty layers between.
//
// Frame: millimetres, +Z up, plate at z = 0, angles in degrees where they are
// values of items. Heights are layer boundaries of the settings.
package coupon
