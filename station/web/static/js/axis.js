// Pitch is vertical: sharp is up, flat is down. Heights run from -1 (bottom) to 1 (top).

export const FULL_CENTS = 60;
const FINE_CENTS = 1.5;
export const NEAR_TICK = 6;
export const TICKS = [-20, -NEAR_TICK, NEAR_TICK, 20];

/** Height of a difference in cents: nearly linear close to the line, logarithmic far away. */
export function heightOfCents(cents, fullCents = FULL_CENTS) {
  const share = Math.log1p(Math.abs(cents) / FINE_CENTS) / Math.log1p(fullCents / FINE_CENTS);
  return Math.sign(cents) * Math.min(share, 1);
}

/** Cents between two frequencies in hertz: 1200 log2(hz / of). */
export function centsBetween(hz, of) {
  return 1200 * Math.log2(hz / of);
}

/** The window of hertz a reference axis shows: everything asked for, and room around it. */
export function windowOf(values, leastSpanHz = 8) {
  const low = Math.min(...values);
  const high = Math.max(...values);
  const middle = (low + high) / 2;
  const half = Math.max((high - low) / 2 + 2.5, leastSpanHz / 2);
  return { low: middle - half, high: middle + half };
}

/** Hertz that so many cents up and down from `hz` span. */
export function spanOf(hz, cents) {
  return hz * (2 ** (cents / 1200) - 2 ** (-cents / 1200));
}

/** On which side of a line a pitch stands that counts as "in" within so many cents. */
export function sideOf(cents, inCents) {
  if (Math.abs(cents) <= inCents) return "in";
  return cents < 0 ? "below" : "above";
}

/** Hertz between numbers of a scale, so that they stand `leastPx` apart or more. */
export function scaleStep(pxPerHz, leastPx = 40) {
  return [1, 2, 5, 10, 20].find((step) => step * pxPerHz >= leastPx) ?? 40;
}

/**
 * Rising places moved apart, `gap` between neighbours, each as near to its own as may
 * be, from low to high. Where they do not fit, all stand closer.
 */
export function spread(places, gap, low, high) {
  const between = Math.min(gap, (high - low) / Math.max(places.length - 1, 1));
  const moved = [...places];
  for (let i = 0, free = low; i < moved.length; i += 1) {
    moved[i] = Math.max(moved[i], free);
    free = moved[i] + between;
  }
  for (let i = moved.length - 1, free = high; i >= 0; i -= 1) {
    moved[i] = Math.min(moved[i], free);
    free = moved[i] - between;
  }
  return moved;
}

/** Where hz stands in a window: 0 at its bottom, 1 at its top. */
export function shareOf(hz, window) {
  return (hz - window.low) / (window.high - window.low);
}
