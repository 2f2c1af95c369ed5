// Which touches make a mark: first the whole, then what stands after the point.

import { holds } from "../desk/typed_mark.js";

export function marksOf(scale) {
  const found = [];
  for (let tenths = scale.minimum; tenths <= scale.maximum; tenths += scale.step) found.push(tenths);
  return found;
}

export function wholesOf(scale) {
  return [...new Set(marksOf(scale).map((tenths) => Math.floor(tenths / 10)))];
}

// The digits after the point that any mark of the scale has.
export function tenthsOf(scale) {
  return [...new Set(marksOf(scale).map((tenths) => tenths % 10))].sort((a, b) => a - b);
}

export function withinWhole(scale, whole) {
  return tenthsOf(scale).map((tenth) => whole * 10 + tenth).filter((tenths) => holds(scale, tenths));
}
