// Pitch is vertical: sharp is up, flat is down. Heights run from -1 (bottom) to 1 (top).

export const FULL_CENTS = 60;
const FINE_CENTS = 1.5;
export const TICKS = [-20, -6, 6, 20];

/** Height of a difference in cents: nearly linear close to the line, logarithmic far away. */
export function heightOfCents(cents) {
  const share = Math.log1p(Math.abs(cents) / FINE_CENTS) / Math.log1p(FULL_CENTS / FINE_CENTS);
  return Math.sign(cents) * Math.min(share, 1);
}

/** Cents between two frequencies in hertz: 1200 log2(hz / of). */
export function centsBetween(hz, of) {
  return 1200 * Math.log2(hz / of);
}

/** The window of hertz a reference axis shows: everything asked for, and room around it. */
export function windowOf(values, leastSpanHz = 12) {
  const low = Math.min(...values);
  const high = Math.max(...values);
  const middle = (low + high) / 2;
  const half = Math.max((high - low) / 2 + 2.5, leastSpanHz / 2);
  return { low: middle - half, high: middle + half };
}

/** Where hz stands in a window: 0 at its bottom, 1 at its top. */
export function shareOf(hz, window) {
  return (hz - window.low) / (window.high - window.low);
}
