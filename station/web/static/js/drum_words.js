// What is said of a drummer's taps. A drum is what its player likes: nothing here calls it wrong.

import { beats, signed, uncertainty } from "./words.js";

export const FIRST_HINT = "tap five times near the middle";
/** Common practice, no source. */
export const EARS = "Wear ear protection: a drum close by is loud enough to harm hearing.";

/** A high tom and a timbale have no wires to hear either: the ear tells no more. */
const KINDS = { open: "", "snare, wires off": "no wires heard", dull: "a dull thud" };

const SHORT = {
  rim: "rim",
  double: "double",
  "other drum": "other drum",
  weak: "no pitch",
  clipped: "too loud",
};

/** Why a stroke is left out, in a word or two: "rim"; nothing for one that counts. */
export function shortWhy(stroke) {
  return stroke.why === null ? "" : (SHORT[stroke.verdict] ?? stroke.why);
}

function lastStroke(taps) {
  return taps.strokes.find((each) => each.at_s === taps.last?.at_s) ?? null;
}

/** "3 of 5". */
export function countWords(taps) {
  return `${taps.tap?.used ?? 0} of ${taps.wanted}`;
}

/** What became of the last stroke, if it is worth a word: "rim: not counted". */
export function strokeWords(taps) {
  const last = lastStroke(taps);
  if (last && last.why !== null) return `${shortWhy(last)}: not counted`;
  return taps.began && (taps.tap?.used ?? 0) < taps.wanted ? `${taps.began}: begun anew` : "";
}

/** What sort of drum it is, if it is worth a word: "two heads beat 1.7 a second". */
export function kindWords(tap) {
  if (!tap) return "";
  if (tap.beat_hz) return `two heads beat ${beats(tap.beat_hz)} a second`;
  if (!tap.sure) return "tap nearer the middle: two modes are alike";
  return KINDS[tap.kind] ?? tap.kind;
}

/** Small print: why the last stroke does not count, and how far the others are apart. */
export function smallWords(taps) {
  const { tap } = taps;
  const words = [lastStroke(taps)?.why, tap?.beat_hz && !tap.sure ? "two modes are alike" : ""];
  if (tap && tap.used > 1) words.push(`strokes spread by ${tap.spread_cents.toFixed(1)} cents`);
  return words.filter(Boolean).join(" · ");
}

/** "+12.3 cents" from the nearest note. */
export function centsWords(tap) {
  return `${signed(tap.cents)} cents`;
}

/** "±0.8 · 98.3 Hz". */
export function hertzWords(tap) {
  return `${uncertainty(tap.uncertainty_cents)} · ${tap.fundamental_hz.toFixed(1)} Hz`;
}

/** "0.92 s", "1.8 s"; a dash where too little was heard of it. */
export function secondsWords(seconds) {
  if (seconds === null) return "–";
  return `${seconds.toFixed(seconds < 1 ? 2 : 1)} s`;
}

/** The drum in one sentence, for the band: "last tap: G2, +12 cents, 98.7 Hz, rings 0.92 s, 5 of 5 strokes". */
export function tapSentence(taps, noteName) {
  const { tap } = taps;
  if (!tap) return taps.last ? `last stroke: ${strokeWords(taps)}` : "nothing tapped yet";
  const words = [`last tap: ${noteName(tap.note)}, ${signed(tap.cents, 0)} cents`, `${tap.fundamental_hz.toFixed(1)} Hz`];
  if (tap.ring_s !== null) words.push(`rings ${secondsWords(tap.ring_s)}`);
  words.push(`${countWords(taps)} strokes`);
  return words.join(", ");
}
