// Package desk is a part and its plan on a designer's desk: a plan that is edited step
// by step, with all that follows from it worked out anew beside the work.
//
// A Desk keeps every version of the plan, so that undo and redo have no end, and gives
// each a revision, a number that never comes twice. Whoever edits says which revision
// they saw; an edit of another one than the newest is ErrStale, so that two views of one
// desk do not lose each other's work. An edit that asks for what cannot be is a *Refused
// and changes nothing.
//
// An edit answers with the new plan at once. What follows from it is worked out beside
// that, stage by stage, each published as it is done: the cut part and its need where
// settings or pose changed, then the grown supports, the proof and the cost. A stage that a
// newer revision overtakes is not published. Until then State gives the result of an
// earlier revision and says that it is not ready.
//
// All rules are those of the packages below: need and survey, layout.Check and
// layout.Around, grow, prove, cost. Desk decides nothing of its own but the order.
//
// Frame: millimetres, +Z up, plate at z = 0; degrees in State and edits, as in the plan's
// document. A Desk may be used from any goroutine.
package desk
